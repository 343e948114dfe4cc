"""How deep two surfaces cross: the lips of a mouth, run into each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.nearest import NearestSurface
from composer.geometry.self_intersection import crossing_pairs


def crossing_depth(positions: NDArray, ones: NDArray, others: NDArray, furthest: float = np.inf) -> float:
    """The most, in the unit of `positions` (n, 3), that a corner of a triangle of `ones` (s, 3) which crosses `others`
    (t, 3) lies behind them, or the other way round; 0 where none cross.

    The side is that of the pseudonormal (Baerentzen and Aanaes 2005). A corner further away than `furthest` has another
    part of an open surface beside it, of whose sides nothing is known, and does not count.
    """
    if not len(ones) or not len(others):
        return 0.0
    pairs = crossing_pairs(positions, ones, others)
    deepest = 0.0
    for own, other, crossed in ((ones, others, pairs[:, 0]), (others, ones, pairs[:, 1])):
        corners = np.unique(own[np.unique(crossed)])
        if len(corners):
            signed = NearestSurface(positions, other)(positions[corners]).signed
            deepest = max(deepest, float(-signed[np.abs(signed) < furthest].min(initial=0.0)))
    return deepest
