"""Which polygons of a mesh lie close by some of them in space, whatever the way over the mesh."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def close_by(polygons: Polygons, positions: Floats, faces: Flags, within: float) -> Flags:
    """(f,) the polygons flagged in `faces` (f,), and all whose boxes come `within` mm of the box of one of those, at
    `positions` (n, 3) mm. Some further ones may be flagged too, up to three times as far away.

    Boxes are entered into cubes of a grid that are at least as wide as `within` and as the flagged polygons' boxes.
    """
    close = np.array(faces)
    if not faces.any():
        return close
    low, high = boxes(polygons, positions)
    some_low, some_high = low[faces], high[faces]
    cell = max(within, float((some_high - some_low).max()), 1e-12)
    origin = some_low.min(axis=0) - 2.0 * cell
    reach = some_high.max(axis=0) + within
    about = np.flatnonzero(((low <= reach) & (high >= some_low.min(axis=0) - within)).all(axis=1))
    count = np.ceil((reach - origin) / cell).astype(np.int64) + 3
    first = np.floor((some_low - within - origin) / cell).astype(np.int64)
    last = np.floor((some_high + within - origin) / cell).astype(np.int64)
    taken = np.unique(_keys(first, last, count))
    first = np.floor((np.maximum(low[about], origin) - origin) / cell).astype(np.int64)
    last = np.floor((np.minimum(high[about], reach) - origin) / cell).astype(np.int64)
    wide = (last - first > 3).any(axis=1)  # larger than the flagged ones: not worth a look at its cubes
    near = wide.copy()
    keys = _keys(first[~wide], last[~wide], count)
    near[~wide] = np.isin(keys, taken).any(axis=1)
    close[about[near]] = True
    return close


def boxes(polygons: Polygons, positions: Floats) -> tuple[Floats, Floats]:
    """(f, 3), (f, 3) the lower and the upper corners of the polygons' boxes at `positions` (n, 3)."""
    starts = polygons.starts[:-1]
    low, high = np.empty((polygons.n_faces, 3)), np.empty((polygons.n_faces, 3))
    for axis in range(3):
        at = positions[polygons.indices, axis]
        low[:, axis], high[:, axis] = np.minimum.reduceat(at, starts), np.maximum.reduceat(at, starts)
    return low, high


def _keys(first: NDArray[np.int64], last: NDArray[np.int64], count: NDArray[np.int64]) -> NDArray[np.int64]:
    """(k, 64) the numbers of the cubes from `first` to `last` (k, 3), four along each axis; fewer repeat the last."""
    step = np.arange(4)
    x, y, z = (np.minimum(first[:, i, None] + step, last[:, i, None]) for i in range(3))
    row = (z[:, :, None] * count[1] + y[:, None]) * count[0]
    return (row[:, :, :, None] + x[:, None, None]).reshape(len(first), 64)
