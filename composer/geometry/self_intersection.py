"""Which triangles cross each other: a grid finds candidate pairs, and an exact test decides.

Broad phase: boxes are entered into every cell of a uniform grid that they touch; boxes that share a cell are candidates
(Ericson 2005, "Real-Time Collision Detection", section 7.1). Narrow phase: two triangles cross where an edge of one
passes through the inside of the other, by the signs of tetrahedron volumes (Guigue and Devillers 2003, "Fast and robust
triangle-triangle overlap test using orientation predicates"). Triangles that touch or lie in one plane do not cross:
lips at rest may touch.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.vectors import cross as cross_products

Floats = NDArray[np.float64]
Pairs = NDArray[np.int64]
_FLAT = 1e-12
"""Volumes below this share of the product of their lengths are zero: rounding of float64 and a margin (our choice)."""


def crossing_pairs(positions: NDArray, ones: NDArray, others: NDArray) -> Pairs:
    """(p, 2) the pairs of triangles `ones` (s, 3) and `others` (t, 3) that cross, as indices into both.

    `positions` (n, 3) mm. Pairs that share a vertex are left out, because neighbours always touch.
    """
    positions = np.asarray(positions, dtype=np.float64)
    first, second = positions[ones], positions[others]
    pairs = candidate_pairs(first, second)
    a, b = np.asarray(ones)[pairs[:, 0]], np.asarray(others)[pairs[:, 1]]
    apart = ~(a[:, :, None] == b[:, None, :]).any(axis=(1, 2))
    pairs = pairs[apart]
    return pairs[cross(first[pairs[:, 0]], second[pairs[:, 1]])]


def crossing_mask(positions: NDArray, ones: NDArray, others: NDArray) -> NDArray[np.bool_]:
    """(s,) which of the triangles `ones` (s, 3) cross any of `others` (t, 3); as `crossing_pairs`."""
    on = np.zeros(len(ones), dtype=bool)
    on[crossing_pairs(positions, ones, others)[:, 0]] = True
    return on


def self_crossing_pairs(positions: NDArray, triangles: NDArray) -> Pairs:
    """(p, 2) triangles of one mesh (t, 3) that cross each other, each pair once, lower index first."""
    pairs = crossing_pairs(positions, triangles, triangles)
    return pairs[pairs[:, 0] < pairs[:, 1]]


def cross(ones: Floats, others: Floats) -> NDArray[np.bool_]:
    """(p,) whether triangles `ones` (p, 3, 3) and `others` (p, 3, 3) cross, pair by pair."""
    return _edges_through(ones, others) | _edges_through(others, ones)


def candidate_pairs(ones: Floats, others: Floats) -> Pairs:
    """(p, 2) pairs of triangles (s, 3, 3), (t, 3, 3) whose boxes overlap, sorted."""
    none = np.zeros((0, 2), dtype=np.int64)
    if not len(ones) or not len(others):
        return none
    (low_a, high_a), (low_b, high_b) = _boxes(ones), _boxes(others)
    low = np.maximum(low_a.min(axis=0), low_b.min(axis=0))
    high = np.minimum(high_a.max(axis=0), high_b.max(axis=0))
    keep_a = np.flatnonzero(_everywhere((high_a >= low) & (low_a <= high)))
    keep_b = np.flatnonzero(_everywhere((high_b >= low) & (low_b <= high)))
    if not len(keep_a) or not len(keep_b):
        return none
    size = np.concatenate([(high_a - low_a)[keep_a], (high_b - low_b)[keep_b]]).max(axis=1)
    cell = max(float(np.quantile(size, 0.9)), float(np.max(high - low, initial=0.0)) / 1000.0, 1e-9)
    key_a, owner_a = _cells(low_a[keep_a], high_a[keep_a], low, high, cell)
    key_b, owner_b = _cells(low_b[keep_b], high_b[keep_b], low, high, cell)
    order = np.argsort(key_b, kind="stable")
    key_b, owner_b = key_b[order], owner_b[order]
    start, stop = np.searchsorted(key_b, key_a, "left"), np.searchsorted(key_b, key_a, "right")
    count = stop - start
    inside = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    a = keep_a[np.repeat(owner_a, count)]
    b = keep_b[owner_b[np.repeat(start, count) + inside]]
    meet = _everywhere((high_a[a] >= low_b[b]) & (low_a[a] <= high_b[b]))
    key = np.unique(a[meet].astype(np.int64) * len(others) + b[meet])
    return np.stack([key // len(others), key % len(others)], axis=1)


def _boxes(triangles: Floats) -> tuple[Floats, Floats]:
    """The lower and the upper corners (k, 3) of the boxes about triangles (k, 3, 3)."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _everywhere(holds: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(k,) whether all three columns hold."""
    return holds[:, 0] & holds[:, 1] & holds[:, 2]


def _cells(
    low: Floats, high: Floats, start: Floats, end: Floats, cell: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Keys of the grid's cells that boxes (k, 3) touch between `start` and `end`, and the box of each."""
    first = np.floor((np.maximum(low, start) - start) / cell).astype(np.int64)
    last = np.floor((np.minimum(high, end) - start) / cell).astype(np.int64)
    span = np.maximum(last - first + 1, 1)
    count = span.prod(axis=1)
    owner = np.repeat(np.arange(len(low)), count)
    step = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    nx, ny = span[owner, 0], span[owner, 1]
    at = first[owner] + np.stack([step % nx, step // nx % ny, step // (nx * ny)], axis=1)
    side = np.floor((end - start) / cell).astype(np.int64) + 2
    return (at[:, 2] * side[1] + at[:, 1]) * side[0] + at[:, 0], owner


def _edges_through(ones: Floats, others: Floats) -> NDArray[np.bool_]:
    """(p,) whether an edge of `ones` crosses the plane of `others` inside the triangle or on its rim."""
    a, b, c = others[:, 0], others[:, 1], others[:, 2]
    normal = cross_products(b - a, c - a)
    size = np.sqrt(np.einsum("ij,ij->i", normal, normal))
    height = np.einsum("pij,pj->pi", ones - a[:, None], normal)
    reach = np.sqrt(np.einsum("pij,pij->pi", ones - a[:, None], ones - a[:, None])).max(axis=1)
    height = np.where(np.abs(height) <= _FLAT * (size * reach)[:, None], 0.0, height)
    through = np.zeros(len(ones), dtype=bool)
    for i in range(3):
        j = (i + 1) % 3
        opposite = height[:, i] * height[:, j] < 0.0
        if not opposite.any():
            continue
        on = np.flatnonzero(opposite)
        p, q = ones[on, i], ones[on, j]
        t = (height[on, i] / (height[on, i] - height[on, j]))[:, None]
        at = p + t * (q - p)
        inside = np.ones(len(on), dtype=bool)
        for start, end in ((a, b), (b, c), (c, a)):
            turn = cross_products(end[on] - start[on], at - start[on])
            inside &= np.einsum("ij,ij->i", turn, normal[on]) >= 0.0
        through[on] |= inside
    return through
