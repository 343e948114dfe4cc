"""The prior of one library: how new heads may differ from it, by smoothness and by the heads that are known already.

Without earlier heads, the skin may differ by smooth functions: large ones at the scale of the head, small ones at that
of the nose. With them, the local covariance of their deviations and of the mirror images of these takes the place of
the large ones (Luethi et al. 2018, "Gaussian process morphable models": a sum of a statistical and a smooth kernel).
"""

from __future__ import annotations

from collections.abc import Sequence
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from composer.fitting.fill import fill
from composer.fitting.prior.prior import Prior
from composer.fitting.prior.taper import taper
from composer.fitting.prior.terms import HeadsTerm, PoseTerm, SmoothTerm, Term
from composer.fitting.skin import Skin
from composer.geometry.eigenbasis import Eigenbasis, smoothest
from composer.geometry.polygons import Polygons
from composer.geometry.rigid import similarity
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.head.symmetry import mirror_of

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]
POSE, SMOOTH, HEADS = 0, 1, 2
"""The places of the terms in a prior; the last is there where heads are."""

# Lengths and amplitudes are shares of the head's diagonal (475 mm on the head they were chosen on); chosen on two of
# the four people of the bench, see DEVELOPERS.md.
LARGE = (0.0105, 0.32)
"""Amplitude (root mean square along an axis) and length of the large differences that are expected without heads."""
SMALL = (0.0021, 0.063)
"""The same of small differences without heads."""
BESIDE = (0.00105, 0.042)
"""The same of the differences that earlier heads do not know."""
ORDER = 2.5
"""Power of the smooth kernel's spectrum: 3 errs least on the demo's heads, 2 on planted maps; on people both are alike.
"""
LOCAL = 0.147
"""Deviation of the taper: further apart, places of few heads are independent. Twelve heads err least with 0.21,
fewer with 0.13."""
SHIFT, TURN, SIZE = 0.042, 0.1, 0.05
"""Deviations of the pose about that of the landmarks: a share of the diagonal, radians, a share."""
FUNCTIONS = 300
"""Smooth functions (see `composer.geometry.eigenbasis`): 600 change the error by less than 1 percent."""
PER_FUNCTION = 5
"""Least vertices for each smooth function: smaller cages have fewer functions (our choice)."""
RANK = 500
"""Most fields of the prior: 900 instead change the error by less than 1 percent."""
HALF = 8.0
"""Number of heads at which they are trusted as much as smoothness; 5 and 6.5 err as much with twelve heads over the
face, more over the skin and with four (see DEVELOPERS.md). The trust grows with the cube of their number: one
or two heads hardly count, as one person says little of how others differ."""
FILL_WIDTH = 0.03
"""Width of the tension in free zones (see `fill`), as a share of the diagonal (our choice)."""


def skin_prior(head: Head, skin: Skin, freedom: Rows, earlier: Sequence[NDArray] = ()) -> Prior:
    """The prior of a head's skin (s vertices) in mm. `freedom` (s,) is at least 1/2 where the skin does not follow a
    sculpt: such places are left out of the smooth functions, which are continued over them. `earlier` are neutrals
    (n, 3) of the same topology, in any place, turn and size. Raises nothing.
    """
    neutral, scale = head.neutral[skin.vertices], head.diagonal
    surface = Surface(skin.polygons, neutral)
    basis, area = _known_basis(head, surface, freedom < 0.5, scale)
    known = len(earlier) ** 3 / (len(earlier) ** 3 + HALF**3)
    rest = float(np.sqrt(1.0 - known))
    parts = [(rest * LARGE[0] * scale, LARGE[1] * scale), (rest * SMALL[0] * scale, SMALL[1] * scale)]
    if len(earlier):
        parts.append((BESIDE[0] * scale, BESIDE[1] * scale))
    terms: list[Term] = [
        PoseTerm.of(neutral, SHIFT * scale, TURN, SIZE), SmoothTerm.of(basis, area, tuple(parts), ORDER)
    ]  # fmt: skip
    if len(earlier):
        deviations = head_deviations(head, skin, earlier)
        local = taper(neutral, LOCAL * scale).astype(np.float32)
        terms.append(HeadsTerm(deviations, local, float(np.sqrt(known / len(deviations)))))
    return Prior.of(neutral, surface.mass * (freedom < 0.5), tuple(terms), RANK)


def head_deviations(head: Head, skin: Skin, earlier: Sequence[NDArray]) -> NDArray[np.float32]:
    """(2 h, s, 3) mm, the skin of `earlier` neutrals (n, 3) minus the library's after the best similarity, and the
    mirror image of each by the library's own mirror map."""
    mirror, out = mirror_of(head), []
    for neutral in earlier:
        places = np.asarray(neutral, dtype=np.float64)
        move = similarity(places[skin.vertices], head.neutral[skin.vertices])
        deviation = move(places) - head.neutral
        out += [deviation[skin.vertices], mirror.vectors(deviation)[skin.vertices]]
    return np.array(out, dtype=np.float32)


def _known_basis(head: Head, surface: Surface, followed: Flags, scale: float) -> tuple[Eigenbasis, float]:
    """As `_basis`, for the skin `surface` of a head. The last of each topology is kept: it takes most of the time of a
    prior, and a second fit of the same library asks for the same."""
    known = _KNOWN.get(head.polygons)
    if known is not None and known[0] is head.neutral and np.array_equal(known[1], followed):
        return known[2]
    found = _basis(surface, followed, scale)
    _KNOWN[head.polygons] = (head.neutral, np.array(followed), found)
    return found


_KNOWN: WeakKeyDictionary[Polygons, tuple[Rows, Flags, tuple[Eigenbasis, float]]] = WeakKeyDictionary()
"""The basis found last on each topology, with the neutral and the followed vertices (s,) that it belongs to."""


def _basis(surface: Surface, followed: Flags, scale: float) -> tuple[Eigenbasis, float]:
    """The smooth functions of the part of a surface that is `followed` (s,), continued over the rest, and its area in
    mm^2; of the whole surface where nothing is followed."""
    polygons = surface.polygons
    inside = np.logical_and.reduceat(followed[polygons.indices], polygons.starts[:-1])
    if not inside.any():
        inside[:] = True
    corners = polygons.indices[inside[polygons.corner_face]]
    vertices, renumbered = np.unique(corners, return_inverse=True)
    part = Surface(
        Polygons(polygons.counts[inside], renumbered.astype(np.int32), len(vertices)), surface.positions[vertices]
    )
    count = min(FUNCTIONS, max(len(vertices) // PER_FUNCTION, 1))
    basis = smoothest(part.laplacian.tocsr(), part.mass, count)
    functions = np.zeros((surface.n_vertices, basis.functions.shape[1]))
    functions[vertices] = basis.functions
    missing = np.ones(surface.n_vertices, dtype=bool)
    missing[vertices] = False
    if missing.any():
        functions = fill(surface, functions, missing, FILL_WIDTH * scale)
    return Eigenbasis(functions, basis.rates), float(part.mass.sum())
