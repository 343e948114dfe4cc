"""The cage that the bend has brought near the sculpt lands on it: every vertex that follows goes to a place of the
sculpt, without turned or folded faces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Pairs
from composer.fitting.closest import ClosestSurface
from composer.fitting.loops import Loops
from composer.fitting.project import settle
from composer.fitting.skin import Skin, skin_marks
from composer.geometry.surface import Surface
from composer.head.head import Head

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

SETTLE_REACH = 0.03
"""Furthest that a vertex moves onto the sculpt, as a share of the head's diagonal: twice the reach of a projection (our
choice)."""


@dataclass(frozen=True, eq=False)
class Landed:
    """The `positions` (n, 3) mm of a head on a sculpt; `rejected` and `filled` (n,) as in `project.Settled`."""

    positions: Rows
    rejected: Flags
    filled: Flags


def land(head: Head, bent: Rows, sculpt: ClosestSurface, pairs: Pairs, free: NDArray, scale: float) -> Landed:
    """Bring the skin of `bent` (n, 3) mm onto the sculpt; the rows of parts stay.

    `pairs` are the landmarks: a landmark that is free or finds no place on the sculpt goes to its own. `free` (n,) is
    1/2 or more where the skin does not follow; `scale` is the size of the bent head over that of the library's.
    """
    skin = Skin.of(head)
    ideal = head.neutral[skin.vertices]
    settled = settle(
        Surface(skin.polygons, bent[skin.vertices]), sculpt, SETTLE_REACH * head.diagonal * scale,
        loops=Loops(skin.polygons, ideal), ideal=ideal, free=np.asarray(free)[skin.vertices] >= 0.5, rays=False,
        marks=skin_marks(skin, pairs), unfold=True,
    )  # fmt: skip
    positions = np.array(bent, dtype=np.float64)
    rejected, filled = np.zeros(len(positions), dtype=bool), np.zeros(len(positions), dtype=bool)
    positions[skin.vertices] = settled.positions
    rejected[skin.vertices], filled[skin.vertices] = settled.rejected, settled.filled
    on_sculpt = skin.vertices[~settled.filled]
    positions[on_sculpt] = sculpt.nearby(positions[on_sculpt]).points
    return Landed(positions, rejected, filled)
