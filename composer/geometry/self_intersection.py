"""Which triangles cross each other: a grid finds candidate pairs, and an exact test decides.

Broad phase: boxes are entered into every cell of a uniform grid that they touch; boxes that share a cell are candidates
(Ericson 2005, "Real-Time Collision Detection", section 7.1). Narrow phase: two triangles cross where an edge of one
passes through the inside of the other, by the signs of tetrahedron volumes (Guigue and Devillers 2003, "Fast and robust
triangle-triangle overlap test using orientation predicates"). Triangles that touch or lie in one plane do not cross:
lips at rest may touch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.vectors import cross as cross_products

Floats = NDArray[np.float64]
Pairs = NDArray[np.int64]
CELL_QUANTILE, MOST_ENTRIES = 0.5, 16
"""Edge of a cell of the grid, as a quantile of the boxes' sizes, and the cells that a box may touch in the mean before
the cells are doubled: they decide the time and the memory, not the result (chosen on one library's skin)."""
AT_ONCE = 1 << 16
"""Meetings in cells that are looked at together, so that their arrays stay in the processor's cache (our choice)."""
_FLAT = 1e-12
"""Volumes below this share of the product of their lengths are zero: rounding of float64 and a margin (our choice)."""


def crossing_pairs(positions: NDArray, ones: NDArray, others: NDArray) -> Pairs:
    """(p, 2) the pairs of triangles `ones` (s, 3) and `others` (t, 3) that cross, as indices into both.

    For two surfaces that have no vertex in common; where one mesh crosses itself, `self_crossing` says. `positions`
    (n, 3) mm. Pairs that share a vertex are left out.
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


def shared_vertices(triangles: NDArray, pairs: Pairs) -> NDArray[np.int64]:
    """(p,) how many vertices the two triangles of each pair have in common; `pairs` (p, 2) index `triangles` (t, 3)."""
    a, b = triangles[pairs[:, 0]], triangles[pairs[:, 1]]
    count = np.zeros(len(pairs), dtype=np.int64)
    for i in range(3):
        for j in range(3):
            count += a[:, i] == b[:, j]
    return count


def cross(ones: Floats, others: Floats) -> NDArray[np.bool_]:
    """(p,) whether triangles `ones` (p, 3, 3) and `others` (p, 3, 3) cross, pair by pair."""
    return edges_through(ones, others) | edges_through(others, ones)


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
    size = np.concatenate([(high_a - low_a)[keep_a], (high_b - low_b)[keep_b]])
    grid = _Grid.over(low, high, size)
    a, b = _meetings(grid.entries(low_a[keep_a], high_a[keep_a]), grid.entries(low_b[keep_b], high_b[keep_b]), grid)
    return _sorted(keep_a[a], keep_b[b], len(others))


def own_candidate_pairs(triangles: Floats) -> Pairs:
    """(p, 2) pairs of triangles (t, 3, 3) of one mesh whose boxes overlap, each once, lower index first, sorted."""
    if len(triangles) < 2:
        return np.zeros((0, 2), dtype=np.int64)
    low, high = _boxes(triangles)
    grid = _Grid.over(low.min(axis=0), high.max(axis=0), high - low)
    entries = grid.entries(low, high)
    return _sorted(*_meetings(entries, entries, grid, once=True), len(triangles))


def _boxes(triangles: Floats) -> tuple[Floats, Floats]:
    """The lower and the upper corners (k, 3) of the boxes about triangles (k, 3, 3)."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _everywhere(holds: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(k,) whether all three columns hold."""
    return holds[:, 0] & holds[:, 1] & holds[:, 2]


def _sorted(ones: Pairs, others: Pairs, count: int) -> Pairs:
    """(p, 2) the pairs sorted by their first number, then by their second, which is below `count`."""
    key = np.sort(ones.astype(np.int64) * count + others)
    return np.stack([key // count, key % count], axis=1)


@dataclass(frozen=True, eq=False)
class _Entries:
    """Boxes in a grid: the `key` (e,) of each cell that a box touches, sorted; the `owner` (e,) of the entry, a box;
    each box's `first` cell (k, 3), and the boxes' corners `low` and `high` (k, 3)."""

    key: NDArray[np.int64]
    owner: NDArray[np.int64]
    first: NDArray[np.int32]
    low: Floats
    high: Floats


@dataclass(frozen=True, eq=False)
class _Grid:
    """A uniform grid of cubes with edges of `cell` mm from `low` to `high` (3,); `side` (2,) are its counts in x and y.
    """

    low: Floats
    high: Floats
    cell: float
    side: NDArray[np.int64]

    @classmethod
    def over(cls, low: Floats, high: Floats, size: Floats) -> _Grid:
        """A grid for boxes of these sizes (k, 3): most of them touch few cells."""
        widest = float(np.quantile(size.max(axis=1), CELL_QUANTILE))
        cell = max(widest, float(np.max(high - low, initial=0.0)) / 1000.0, 1e-9)
        size = np.minimum(size, high - low)
        while (size / cell + 1.0).prod(axis=1).mean() > MOST_ENTRIES:
            cell *= 2.0
        return cls(low, high, cell, np.floor((high - low) / cell).astype(np.int64)[:2] + 2)

    def keys(self, cells: NDArray[np.int64]) -> NDArray[np.int64]:
        """(k,) one number for each cell (k, 3)."""
        return (cells[:, 2] * self.side[1] + cells[:, 1]) * self.side[0] + cells[:, 0]

    def entries(self, low: Floats, high: Floats) -> _Entries:
        """The cells that boxes from `low` to `high` (k, 3) touch."""
        first = np.floor((np.maximum(low, self.low) - self.low) / self.cell).astype(np.int64)
        last = np.floor((np.minimum(high, self.high) - self.low) / self.cell).astype(np.int64)
        span = np.maximum(last - first + 1, 1)
        count = span.prod(axis=1)
        owner = np.repeat(np.arange(len(low)), count)
        step = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
        nx, ny = span[owner, 0], span[owner, 1]
        key = self.keys(first[owner] + np.stack([step % nx, step // nx % ny, step // (nx * ny)], axis=1))
        order = np.argsort(key, kind="stable")
        return _Entries(key[order], owner[order], first.astype(np.int32), low, high)


def _meetings(
    ones: _Entries, others: _Entries, grid: _Grid, once: bool = False
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The boxes of `ones` and of `others` (p,), (p,) that overlap, each pair once: found in the cell that holds the
    lower corner of what the two boxes share. With `once` both are the same boxes, and the first has the lower number.
    """
    stop = np.searchsorted(others.key, ones.key, "right")
    start = np.arange(1, len(ones.key) + 1) if once else np.searchsorted(others.key, ones.key, "left")
    count = np.maximum(stop - start, 0)
    total = np.concatenate([[0], np.cumsum(count)])
    cuts = np.searchsorted(total, np.arange(AT_ONCE, int(total[-1]) + AT_ONCE, AT_ONCE), "left")
    found, begin = [], 0
    for end in np.minimum(cuts, len(count)).tolist():
        if end <= begin:
            continue
        here = count[begin:end]
        entry = np.repeat(np.arange(begin, end), here)
        step = np.arange(len(entry)) - np.repeat(total[begin:end] - total[begin], here)
        a, b = ones.owner[entry], others.owner[start[entry] + step]
        home = grid.keys(np.maximum(ones.first[a], others.first[b])) == ones.key[entry]
        a, b = a[home], b[home]
        meet = _everywhere((ones.high[a] >= others.low[b]) & (ones.low[a] <= others.high[b]))
        found.append((a[meet], b[meet]))
        begin = end
    if not found:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    a, b = (np.concatenate(part) for part in zip(*found, strict=True))
    return (np.minimum(a, b), np.maximum(a, b)) if once else (a, b)


def edges_through(ones: Floats, others: Floats) -> NDArray[np.bool_]:
    """(p,) whether a side of the triangles `ones` (p, 3, 3), or the one edge of `ones` (p, 2, 3), crosses the plane of
    the triangles `others` (p, 3, 3) inside the triangle or on its rim."""
    a, b, c = others[:, 0], others[:, 1], others[:, 2]
    normal = cross_products(b - a, c - a)
    size = np.sqrt(np.einsum("ij,ij->i", normal, normal))
    height = np.einsum("pij,pj->pi", ones - a[:, None], normal)
    reach = np.sqrt(np.einsum("pij,pij->pi", ones - a[:, None], ones - a[:, None])).max(axis=1)
    height = np.where(np.abs(height) <= _FLAT * (size * reach)[:, None], 0.0, height)
    through = np.zeros(len(ones), dtype=bool)
    corners = ones.shape[1]
    for i in range(corners if corners > 2 else 1):
        j = (i + 1) % corners
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
