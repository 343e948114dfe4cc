"""Which polygons of a mesh lie close by some of them in space, whatever the way over the mesh."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

AT_ONCE = 1 << 14
"""Polygons whose cubes are numbered together, so that their arrays stay in the cache (our choice)."""


def close_by(polygons: Polygons, positions: Floats, faces: Flags, within: float) -> Flags:
    """(f,) the polygons flagged in `faces` (f,), and all whose boxes come `within` mm of the box of one of those, at
    `positions` (n, 3) mm. Some further ones may be flagged too, up to three times as far away.

    Boxes are entered into cubes of a grid that are at least as wide as `within` and as the flagged polygons' boxes.
    """
    close = np.array(faces)
    if not faces.any():
        return close
    some = np.flatnonzero(faces)
    some_low, some_high = boxes(polygons, positions, some)
    cell = max(within, float((some_high - some_low).max()), 1e-12)
    origin = some_low.min(axis=0) - 2.0 * cell
    reach = some_high.max(axis=0) + within
    about, low, high = _between(polygons, positions, some_low.min(axis=0) - within, reach)
    count = np.ceil((reach - origin) / cell).astype(np.int64) + 3
    first = np.floor((some_low - within - origin) / cell).astype(np.int64)
    last = np.floor((some_high + within - origin) / cell).astype(np.int64)
    taken = np.unique(np.concatenate([np.unique(keys) for _, keys in _keys(first, last, count)]))
    first = np.floor((np.maximum(low, origin) - origin) / cell).astype(np.int64)
    last = np.floor((np.minimum(high, reach) - origin) / cell).astype(np.int64)
    wide = (last - first > 3).any(axis=1)  # larger than the flagged ones: not worth a look at its cubes
    near, narrow = wide.copy(), np.flatnonzero(~wide)
    for some, keys in _keys(first[narrow], last[narrow], count):
        near[narrow[some]] = _among(taken, keys).any(axis=1)
    close[about[near]] = True
    return close


def boxes(polygons: Polygons, positions: Floats, faces: Ints) -> tuple[Floats, Floats]:
    """(k, 3), (k, 3) the lower and the upper corners of the boxes of polygons `faces` (k,) at `positions` (n, 3)."""
    found = [_extent(polygons, np.ascontiguousarray(positions[:, axis]), faces) for axis in range(3)]
    return np.stack([low for low, _ in found], axis=1), np.stack([high for _, high in found], axis=1)


def _between(polygons: Polygons, positions: Floats, low: Floats, high: Floats) -> tuple[Ints, Floats, Floats]:
    """The polygons (k,) whose boxes meet the box from `low` to `high` (3,), and their boxes (k, 3), (k, 3)."""
    about = np.arange(polygons.n_faces)
    for axis in range(3):
        least, most = _extent(polygons, np.ascontiguousarray(positions[:, axis]), about)
        about = about[(least <= high[axis]) & (most >= low[axis])]
    return about, *boxes(polygons, positions, about)


def _extent(polygons: Polygons, along: Floats, faces: Ints) -> tuple[Floats, Floats]:
    """(k,), (k,) the least and the largest of a coordinate `along` (n,) over the corners of polygons `faces` (k,)."""
    start, count = polygons.starts[faces], polygons.counts[faces]
    low = along[polygons.indices[start]]
    high = low.copy()
    for corner in range(1, int(count.max(initial=0))):
        at = along[polygons.indices[start + np.minimum(corner, count - 1)]]
        np.minimum(low, at, out=low)
        np.maximum(high, at, out=high)
    return low, high


def _keys(first: Ints, last: Ints, count: Ints) -> Iterator[tuple[Ints, Ints]]:
    """The numbers of the cubes from `first` to `last` (k, 3), up to four along each axis, by parts: which rows, and
    (rows, cubes); fewer cubes repeat the last. Most polygons lie in two along each axis, and take an eighth of it."""
    few = (last - first <= 1).all(axis=1)
    for rows, along in ((np.flatnonzero(few), 2), (np.flatnonzero(~few), 4)):
        step = np.arange(along)
        for begin in range(0, len(rows), AT_ONCE):
            some = rows[begin : begin + AT_ONCE]
            x, y, z = (np.minimum(first[some, i, None] + step, last[some, i, None]) for i in range(3))
            row = (z[:, :, None] * count[1] + y[:, None]) * count[0]
            yield some, (row[:, :, :, None] + x[:, None, None]).reshape(len(some), along**3)


def _among(taken: Ints, keys: Ints) -> Flags:
    """Which of the `keys` are among those `taken` (t,), which are sorted, at least one."""
    return np.asarray(taken[np.minimum(np.searchsorted(taken, keys), len(taken) - 1)] == keys)
