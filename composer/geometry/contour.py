"""Level lines on a mesh: where values at the vertices pass a level, such as the outline of a region.

A level line crosses an edge whose ends lie on either side of the level, and is straight within a triangle (Lorensen and
Cline 1987, "Marching cubes", for triangles). A crossing depends on its edge alone, so the lines of neighbouring
triangles meet.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.surface import Floats

Indices = NDArray[np.int64]
Crossings = tuple[Indices, Indices, Floats]


def contour(triangles: NDArray, values: ArrayLike, level: float) -> Crossings:
    """The line on which `values` (n,) at the vertices of `triangles` (t, 3) pass `level`.

    Returns vertices a, b (k,), a < b, and t (k,) in [0, 1]: the points (1 - t) P[a] + t P[b]. Two rows make a segment.
    Vertices at the level count as above it. On an edge with one infinite value the line passes through the finite end.
    Raises MoueError where a value is not a number.
    """
    value = np.asarray(values, dtype=np.float64)
    if np.isnan(value.sum()) and np.isnan(value).any():
        raise MoueError(f"vertex {int(np.flatnonzero(np.isnan(value))[0])} has a value that is not a number")
    corner = np.asarray(triangles).reshape(-1, 3)
    above = (value >= level)[corner]
    some = above[:, 0] != above[:, 1]
    some |= above[:, 1] != above[:, 2]
    crossed = np.flatnonzero(some)
    corner, above = corner[crossed].astype(np.int64), above[crossed]
    passed, row = above != above[:, [1, 2, 0]], np.arange(len(crossed))[:, None]
    side = np.argsort(~passed, axis=1, kind="stable")[:, :2]
    start, end = corner[row, side], corner[row, (side + 1) % 3]
    a, b = np.minimum(start, end).ravel(), np.maximum(start, end).ravel()
    t = _between(value[a], value[b], level)
    at_a, at_b = np.where(t <= 0.0, a, -1 - np.arange(len(a))), np.where(t >= 1.0, b, -1)
    place = np.where(t >= 1.0, at_b, at_a).reshape(-1, 2)
    kept = np.repeat(place[:, 0] != place[:, 1], 2)
    return a[kept], b[kept], t[kept]


def _between(low: Floats, high: Floats, level: float) -> Floats:
    """(k,) where the level lies between `low` (t = 0) and `high` (t = 1); at the finite end where the other is not."""
    with np.errstate(invalid="ignore"):
        t = (level - low) / (high - low)
    return np.clip(np.where(np.isinf(high), 0.0, np.where(np.isinf(low), 1.0, t)), 0.0, 1.0)
