"""Parts that are bound to the skin, such as lashes, taken along where the skin of a fitted cage is changed by hand."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.head.head import Head

Rows = NDArray[np.float64]
BESIDE = 3
"""Skin vertices that a vertex of a bound part follows, the nearest ones on the library's neutral (our choice)."""
Table = tuple[NDArray[np.int64], NDArray[np.int64], Rows]
_TABLES: WeakKeyDictionary[Head, Table] = WeakKeyDictionary()


def take_along(head: Head, before: Rows, after: Rows) -> Rows:
    """(n, 3) mm `after` with the parts that are bound to the skin moved as the skin beside them was, from `before`
    (n, 3). The skin and every other part, an eyeball or a tooth, keep the rows of `after`: a whole fit places those."""
    if head not in _TABLES:
        _TABLES[head] = _beside(head)
    vertices, beside, share = _TABLES[head]
    if not len(vertices):
        return after
    way = np.einsum("kj,kjd->kd", share, (after - before)[beside])
    moves = np.abs(way).max(axis=1) > 0.0
    positions = np.array(after)
    positions[vertices[moves]] = before[vertices[moves]] + way[moves]
    return positions


def _beside(head: Head) -> Table:
    """The vertices (k,) of bound parts, the skin vertices (k, 3) beside each, and their shares (k, 3), which fall with
    the distance."""
    bound = [part.vertices for part in head.parts if part.follows == "surface"]
    vertices = np.unique(np.concatenate(bound)).astype(np.int64) if bound else np.empty(0, dtype=np.int64)
    skin = np.flatnonzero(head.skin)
    if not len(vertices) or not len(skin):
        return vertices[:0], np.empty((0, BESIDE), dtype=np.int64), np.empty((0, BESIDE))
    away, nearest = cKDTree(head.neutral[skin]).query(head.neutral[vertices], k=min(BESIDE, len(skin)))
    away, nearest = away.reshape(len(vertices), -1), nearest.reshape(len(vertices), -1)
    share = 1.0 / (away + 1e-6 * head.diagonal)
    return vertices, skin[nearest], share / share.sum(axis=1, keepdims=True)
