"""Whether a head was found on a sculpt: the fine form of both, compared where one lies on the other.

A closest point can always be found, and a flexible skin comes near to anything: distances do not tell a right place
from a wrong one. The relief does: nose, lids, lips and ears of the library's own form, before the fit bent it, must
stand where the sculpt's do. Relief is what smoothing takes away along the normals (`composer.fitting.own_detail`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.fitting.closest import ClosestSurface
from composer.fitting.own_detail import relief
from composer.fitting.sculpt import coarser
from composer.geometry.polygons import Polygons
from composer.geometry.rigid import Similarity
from composer.geometry.surface import Surface

Rows = NDArray[np.float64]

# Shares of the head's diagonal.
WIDTH = 0.02
"""Width of the smoothing: 9 mm on a head, the size of a nose's wing and of a lid. With .04 right places gave anything
from -.8 to .96."""
CELL = 0.003
"""A sculpt is made this coarse first: it saves time. With .006 one right place gave .46 to .78, as the grid lay; with
.003 .70 to .73."""
NEAR = 0.015
"""Furthest that skin may lie off the sculpt to count as found on it (our choice)."""
FROM_EDGE = 1.5
"""Nearer to an edge of the sculpt than this many widths its relief is that of the edge (our choice)."""
ALIKE = 0.5
"""Cosine of the normals above which skin counts as found (60 degrees, our choice)."""


@dataclass(frozen=True, eq=False)
class Agreement:
    """How well a placed skin agrees with a sculpt: the correlation of their `relief` in [-1, 1], 0 where nothing can
    be compared; the share in [0, 1] of the library's relief that is `shown`: its power over skin that lies on the
    sculpt; and the shares in [0, 1] of the skin that lies there, on the subject's `left` and `right`."""

    relief: float
    shown: float
    left: float
    right: float


@dataclass(frozen=True, eq=False)
class FineForm:
    """A sculpt made coarse: its `surface`, and the `relief` (m,) at its m vertices in mm of the library's size."""

    surface: ClosestSurface
    relief: Rows

    @classmethod
    def of(cls, sculpt: ClosestSurface, scale: float, size: float) -> FineForm:
        """`scale` is the library's diagonal in mm; on the sculpt the head is `size` times as large."""
        positions, triangles = coarser(sculpt.positions / size, sculpt.triangles, CELL * scale)
        corners = Polygons(np.full(len(triangles), 3), triangles.ravel(), len(positions))
        fine = relief(Surface(corners, positions), WIDTH * scale)
        return cls(ClosestSurface(size * positions, triangles), fine)

    def moved(self, move: Similarity) -> FineForm:
        """The same in another space."""
        return FineForm(self.surface.moved(move), self.relief)


def own_relief(rest: Surface, scale: float) -> Rows:
    """(s,) mm, the relief of the library's own skin `rest`; `scale` is the head's diagonal in mm."""
    return relief(rest, WIDTH * scale)


def agreement(rest: Surface, own: Rows, placed: Rows, follow: Rows, sculpt: FineForm, scale: float) -> Agreement:
    """The agreement of the library's skin `rest` (s vertices) of `own` relief (s,), brought to `placed` (s, 3), with
    `sculpt`, all in the library's own space; `follow` (s,) in [0, 1] is how far it follows, `scale` the head's diagonal
    in mm."""
    coarse = sculpt.surface
    found = coarse.nearby(placed)
    normals = rest.at(placed).vertex_normals
    on = (found.distance < NEAR * scale) & ((normals * found.normal).sum(1) > ALIKE) & ~found.on_border
    mass = rest.mass * follow
    left = rest.positions[:, 0] > 0
    sides = [float((mass * on)[side].sum() / max(mass[side].sum(), 1e-300)) for side in (left, ~left)]
    power = mass * own**2
    shown = float((power * on).sum() / max(power.sum(), 1e-300))
    border = coarse.positions[coarse.border_vertex]
    if len(border):
        on &= cKDTree(border).query(placed)[0] > FROM_EDGE * WIDTH * scale
    theirs = (sculpt.relief[coarse.triangles[found.triangle]] * found.bary).sum(1)
    return Agreement(_correlation(own, theirs, mass * on), shown, *sides)


def _correlation(one: Rows, other: Rows, weight: Rows) -> float:
    """The correlation of two values (s,) under `weight` (s,); 0 where either is the same everywhere."""
    total = float(weight.sum())
    if not total > 0:
        return 0.0
    a, b = (each - float((weight * each).sum()) / total for each in (one, other))
    power = float((weight * a * a).sum() * (weight * b * b).sum())
    return float((weight * a * b).sum()) / float(np.sqrt(power)) if power > 0 else 0.0
