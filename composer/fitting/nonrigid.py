"""The fit itself: a cage bent onto a sculpt, coarse to fine, so that its loops land where the landmarks are.

1. *Align*: the similarity of the landmark pairs. The rest is computed in the head's own space and size, so that a moved
   or scaled sculpt gives the moved or scaled fit.
2. *Warp*: a radial basis through the landmarks, and through some places of the curves (`composer.fitting.warp`).
3. *Bend*: a smooth deviation from the warp brings the cage onto the sculpt, first coarse, then fine
   (`composer.fitting.bend`).
4. *Land*: `composer.fitting.landing` brings the vertices onto the sculpt itself, without folded faces.

How closely the bend follows the sculpt is measured (`composer.fitting.own_detail`): the more the sculpt's fine relief
differs from the cage's, the larger sigma and the stiffer the coarse pass. DEVELOPERS.md tells what was tried.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.align import Pairs, Similarity, similarity
from composer.fitting.bend import Bend, BendPass
from composer.fitting.closest import ClosestSurface
from composer.fitting.landing import land
from composer.fitting.mark_pulls import MarkPulls
from composer.fitting.own_detail import own_detail
from composer.fitting.skin import Skin
from composer.fitting.warp import warp
from composer.geometry.polygons import read_only
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.progress import Progress

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Lengths below are shares of the head's diagonal. Unless said otherwise they were chosen on the tuning seeds (101 to
# 111) of the fit's bench, planted maps whose true places are known; DEVELOPERS.md has the table.
PRIOR = (5e-4, 0.01)
"""Bounds of the expected error of the warp, which is measured on left-out landmarks: the larger, the freer the bend."""
SIGMA = (5e-4, 4e-3)
"""Bounds of sigma, the standard deviation of the sculpt about the true surface: the larger, the less it pulls."""
COARSE_WAVELENGTH = (0.18, 0.27)
"""Wavelength above which the coarse pass bends freely, at the least and at the largest sigma."""
FINE_WAVELENGTH = 0.30
"""The same for the fine pass, which is stiffer."""
NO_DETAIL = 5e-5
"""Difference of fine relief that still counts as none."""
DETAIL_TO_SIGMA = 30.0
"""Sigma for each unit of relief difference beyond NO_DETAIL (no unit)."""
ROUNDS = (4, 1)
"""Rounds of the coarse and of the fine pass (our choice)."""


@dataclass(frozen=True, eq=False)
class Fitted:
    """The fitted head: `positions` (n, 3) mm in the sculpt's space, parts moved by the similarity only (see
    `composer.fitting.parts`); `aligned` the similarity; `warped` (n, 3) after the landmarks' warp; `rejected` and
    `filled` (n,) as in `composer.fitting.project.Settled`; `own_detail` the fine detail in mm that the sculpt has and
    the cage has not; `stages` the passes of the bend.
    """

    positions: Rows
    aligned: Similarity
    warped: Rows
    rejected: Flags
    filled: Flags
    own_detail: float
    stages: tuple[BendPass, ...] = field(default=())


def fit(
    head: Head, sculpt: ClosestSurface, pairs: Pairs, free: NDArray | None = None, *, aligned: Similarity | None = None,
    settled: bool = True, progress: Progress | None = None,
) -> Fitted:  # fmt: skip
    """Fit the cage of a head of n vertices onto a sculpt, in the four steps of this module.

    `pairs` are the landmarks, at least three points that are not on one line. `free` (n,) in [0, 1] is 1 where the cage
    does not follow the sculpt (mouth interior, eye sockets). `aligned` is the similarity to begin with; without it that
    of the pairs is taken. With `settled` False the vertices stay where the bend leaves them, near the sculpt.
    Raises MoueError where the landmarks do not give a similarity or the mask has another length.
    """
    say: Progress = progress or (lambda fraction, words: None)
    say(0.0, "aligning")
    move = aligned or similarity(pairs.head, pairs.sculpt)
    n = head.n_vertices
    freedom = np.zeros(n) if free is None else np.clip(np.asarray(free, dtype=np.float64), 0.0, 1.0)
    if freedom.shape != (n,):
        raise MoueError(f"the free mask has {len(freedom)} values, the head {n} vertices")
    skin = Skin.of(head)
    back = move.inverse()
    aligned_sculpt = ClosestSurface(back(sculpt.positions), sculpt.triangles)
    pairs = pairs.moved(back)
    neutral, scale = head.neutral, head.diagonal
    say(0.05, "warping through the landmarks")
    through, warp_error = warp(pairs, neutral[skin.vertices], scale)
    warped = through(neutral)
    surface = Surface(skin.polygons, warped[skin.vertices])
    skin_freedom = freedom[skin.vertices]
    detail = own_detail(surface, aligned_sculpt, skin_freedom, scale)
    rest = surface.at(neutral[skin.vertices])
    prior = float(np.clip(warp_error / scale, *PRIOR))
    marks = MarkPulls.of(skin, pairs, neutral)
    bend = Bend(surface, rest, aligned_sculpt, 1.0 - skin_freedom, marks, scale, prior)
    sigma = float(np.clip(DETAIL_TO_SIGMA * (detail - NO_DETAIL), *SIGMA))
    share = (sigma - SIGMA[0]) / (SIGMA[1] - SIGMA[0])
    say(0.1, "bending the whole skin")
    low, high = COARSE_WAVELENGTH
    stages = [bend.coarse(low + share * (high - low), sigma, ROUNDS[0])]
    say(0.6, "bending in detail")
    stages.append(bend.fine(FINE_WAVELENGTH, sigma, ROUNDS[1]))
    positions = warped.copy()
    rejected, filled = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    positions[skin.vertices] = bend.positions
    positions = move(positions)
    if settled:
        say(0.85, "settling on the sculpt")
        landed = land(head, positions, sculpt, pairs.moved(move), freedom, move.scale)
        positions, rejected, filled = landed.positions, landed.rejected, landed.filled
    say(1.0, "fitted")
    return Fitted(
        read_only(positions), move, read_only(move(warped)), rejected, filled, detail * scale * move.scale,
        tuple(stages),
    )  # fmt: skip
