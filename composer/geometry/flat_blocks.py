"""Pairs of triangles of a subdivided mesh that may cross: smooth areas are passed over as a whole.

Blocks (`composer.geometry.blocks`) about a common corner do not cross where they lie like a sheet on a table: seen
along one direction, every triangle shows its front, and the outline goes round the corner once (the surface and the
contour condition of Volino and Magnenat-Thalmann 1994, "Efficient self-collision detection on smoothly discretized
surface animations using geometrical shape regularity"). For then each place of the table lies under one triangle at
most: how many lie over it is how often the outline goes round it. Directions are held together by cones. Pairs of
blocks that do not lie so, and whose boxes meet, are taken apart, step by step, down to triangles.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.geometry.blocks import Blocks, blocks_of
from composer.geometry.flat_fans import FACES, TURN
from composer.geometry.polygons import Polygons
from composer.geometry.self_intersection import Pairs, own_candidate_pairs
from composer.geometry.vectors import dot, unit_rows

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

AT_ONCE = 1 << 14
"""Blocks, or pairs of blocks, that are looked at together, so that their arrays stay in the cache (our choice)."""
FRONT = np.pi / 2 - 1e-4
"""Widest angle, in radians, between a direction and a triangle's normal for the front to be seen; the margin is for
rounding."""


@dataclass(frozen=True, eq=False)
class _Shape:
    """The blocks of a step in space: the corners `low` and `high` (b, 3) of their boxes, the sums of their vector areas
    `area` (b, 3), how far their triangles' normals lie off those, `cone` (b,) in radians."""

    low: Floats
    high: Floats
    area: Floats
    cone: Floats

    @property
    def coarser(self) -> _Shape:
        """The same of the blocks of the next step."""
        area = self.area.reshape(-1, 4, 3)
        total = area.sum(axis=1)
        turn = dot(unit_rows(self.area), np.repeat(unit_rows(total), 4, axis=0))
        cone = (np.arccos(np.clip(turn, -1.0, 1.0)) + self.cone).reshape(-1, 4).max(axis=1)
        low = np.minimum(np.minimum(self.low[::4], self.low[1::4]), np.minimum(self.low[2::4], self.low[3::4]))
        high = np.maximum(np.maximum(self.high[::4], self.high[1::4]), np.maximum(self.high[2::4], self.high[3::4]))
        return _Shape(low, high, total, cone)


class FlatBlocks:
    """The blocks of `polygons`, to be asked for the pairs that may cross at any positions of their vertices."""

    def __init__(self, polygons: Polygons) -> None:
        self.polygons = polygons

    @cached_property
    def steps(self) -> list[Blocks]:
        """The blocks, step by step."""
        return blocks_of(self.polygons)

    def pairs(self, positions: Floats) -> Pairs:
        """(p, 2) pairs of triangles of different polygons whose boxes overlap at `positions` (n, 3), each once, lower
        index first, sorted; without some that cannot cross. Where the mesh does not stand in blocks, all of them."""
        if len(self.steps) < 2:
            return _of_polygons(self.polygons, positions)
        shapes = [_first(positions, self.steps[0].corners)]
        shapes += [shapes[-1].coarser]
        for _ in self.steps[2:]:
            shapes.append(shapes[-1].coarser)
        top = len(self.steps) - 1
        shape = shapes[-1]
        met = own_candidate_pairs(np.stack([shape.low, shape.high, shape.low], axis=1))
        one = np.arange(len(shape.low))
        a, b = np.concatenate([met[:, 0], one]), np.concatenate([met[:, 1], one])
        for step in range(top, -1, -1):
            asked = np.zeros(self.polygons.n_vertices, dtype=bool)
            asked[self.steps[step].corners[np.union1d(a, b)]] = True
            flat = _flat(positions, self.steps[step], shapes[step], asked)
            a, b = _not_flat(self.steps[step].corners, flat, a, b)
            if step:
                a, b = _taken_apart(shapes[step - 1], a, b)
        return _triangles_of(positions, self.steps[0].corners, a, b)


def _flat(positions: Floats, blocks: Blocks, shape: _Shape, asked: Flags) -> Flags:
    """(n,) which of the vertices `asked` (n,) have blocks about them that lie like a sheet on a table."""
    n, flat = len(asked), asked.copy()
    number, corner = np.nonzero(asked[blocks.corners])
    vertex = blocks.corners[number, corner]
    flat[vertex[~_joined(blocks, number, corner)]] = False
    towards = unit_rows(np.stack([np.bincount(vertex, shape.area[number, i], n) for i in range(3)], axis=1))
    off = dot(unit_rows(shape.area[number]), towards[vertex])
    flat[vertex[np.arccos(np.clip(off, -1.0, 1.0)) + shape.cone[number] >= FRONT]] = False
    kept = flat[vertex]
    number, corner, vertex = number[kept], corner[kept], vertex[kept]
    turn, hidden = np.zeros(len(vertex)), np.zeros(len(vertex), dtype=bool)
    points = np.asfortranarray(positions)  # whose columns lie together
    for begin in range(0, len(vertex), AT_ONCE):
        part = slice(begin, begin + AT_ONCE)
        away, seen = blocks.away(number[part], corner[part]), towards[vertex[part]]
        turn[part], hidden[part] = _round(points, vertex[part], away, seen)
    flat[vertex[hidden]] = False
    return flat & (np.bincount(vertex, turn, n) <= TURN)


def _joined(blocks: Blocks, number: Ints, corner: Ints) -> Flags:
    """(k,) whether the blocks `number` (k,) are whole, and the side that leaves the `corner` (k,) of each is one along
    which just one of the others comes there. Where that holds for all about a vertex, they lie all round it."""
    vertex = blocks.corners[number, corner].astype(np.int64)
    end, begin = blocks.corners[number, (corner + 1) % 4], blocks.corners[number, corner - 1]
    n = int(blocks.corners.max(initial=0)) + 1
    leaves, comes = vertex * n + end, vertex * n + begin
    order = np.argsort(comes, kind="stable")
    key = comes[order]
    at = np.searchsorted(key, leaves)
    single = np.searchsorted(key, leaves, "right") == at + 1
    _, again, times = np.unique(leaves, return_inverse=True, return_counts=True)
    single &= times[again] == 1
    partner = order[np.minimum(at, len(key) - 1)]
    out = blocks.sides[number, corner]
    into = blocks.sides[number[partner], corner[partner] - 1]
    return single & blocks.whole[number] & (out == into[:, ::-1]).all(axis=1)


def _first(positions: Floats, corners: NDArray) -> _Shape:
    """The quads (q, 4) in space."""
    low, high, area, cone = (np.empty((len(corners), *more)) for more in ((3,), (3,), (3,), ()))
    columns = np.ascontiguousarray(positions.T)
    for begin in range(0, len(corners), AT_ONCE):
        part = slice(begin, begin + AT_ONCE)
        a, b, c, d = (columns.take(corner, axis=1) for corner in corners[part].T)
        low[part] = np.minimum(np.minimum(a, b), np.minimum(c, d)).T
        high[part] = np.maximum(np.maximum(a, b), np.maximum(c, d)).T
        across = c - a
        one, other = _crossed(b - a, across), _crossed(across, d - a)
        both = one + other
        area[part] = both.T
        size = np.sqrt(_dotted(both, both))
        cosines = [_dotted(each, both) / _off_zero(size * np.sqrt(_dotted(each, each))) for each in (one, other)]
        cone[part] = np.arccos(np.clip(np.minimum(*cosines), -1.0, 1.0))
    return _Shape(low, high, area, cone)


def _crossed(one: Floats, other: Floats) -> Floats:
    """(3, k) the cross products of vectors (3, k)."""
    (x, y, z), (u, v, w) = one, other
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u])


def _dotted(one: Floats, other: Floats) -> Floats:
    """(k,) the dot products of vectors (3, k)."""
    return one[0] * other[0] + one[1] * other[1] + one[2] * other[2]


def _off_zero(size: Floats) -> Floats:
    """Lengths (k,) to divide by: 1 where there is none, so that a triangle without area counts as one seen edge on."""
    return np.where(size > 0.0, size, 1.0)


def _round(positions: Floats, centre: NDArray, line: NDArray, towards: Floats) -> tuple[Floats, Flags]:
    """(k,) the angle by which lines of vertices (k, m) go round their `centre` (k,), seen from `towards` (k, 3), and
    whether one of their steps does not go ahead."""
    columns, seen = positions.T, towards.T
    middle = [column.take(centre) for column in columns]
    turn, hidden, last = np.zeros(len(centre)), np.zeros(len(centre), dtype=bool), None
    for place in line.T:
        arm = np.stack([column.take(place) - at for column, at in zip(columns, middle, strict=True)])
        arm -= _dotted(arm, seen) * seen
        if last is not None:
            sine, cosine = _dotted(_crossed(last, arm), seen), _dotted(last, arm)
            hidden |= ~(sine > FACES * np.sqrt(sine * sine + cosine * cosine))
            turn += np.arctan2(sine, cosine)
        last = arm
    return turn, hidden


def _not_flat(corners: NDArray, flat: Flags, a: Ints, b: Ints) -> tuple[Ints, Ints]:
    """Those of the pairs of blocks (p,), (p,) that have no flat vertex in common."""
    flat_a = np.where(flat[corners], corners, -1)
    keep = np.ones(len(a), dtype=bool)
    for begin in range(0, len(a), AT_ONCE):
        part = slice(begin, begin + AT_ONCE)
        one, other = flat_a[a[part]], corners[b[part]]
        keep[part] = ~(one[:, :, None] == other[:, None]).any(axis=(1, 2))
    return a[keep], b[keep]


def _taken_apart(finer: _Shape, a: Ints, b: Ints) -> tuple[Ints, Ints]:
    """The pairs of the blocks in pairs of blocks (p,), (p,) whose boxes meet, in order, with each block of a pair of
    one block with itself too."""
    found: list[tuple[Ints, Ints]] = []
    number = np.arange(4)
    for begin in range(0, len(a), AT_ONCE):
        one = (4 * a[begin : begin + AT_ONCE, None, None] + number[:, None] + 0 * number).ravel()
        other = (4 * b[begin : begin + AT_ONCE, None, None] + number + 0 * number[:, None]).ravel()
        meet = (finer.high[one] >= finer.low[other]).all(axis=1) & (finer.low[one] <= finer.high[other]).all(axis=1)
        meet &= one <= other
        found.append((one[meet], other[meet]))
    none = np.zeros(0, dtype=np.int64)
    return (
        np.concatenate([none, *(pair[0] for pair in found)]), np.concatenate([none, *(pair[1] for pair in found)])
    )  # fmt: skip


def _of_polygons(polygons: Polygons, positions: Floats) -> Pairs:
    """(p, 2) the pairs of triangles of different polygons whose boxes overlap, sorted: polygons whose boxes do come
    first, since they are fewer."""
    if not polygons.n_faces:
        return np.zeros((0, 2), dtype=np.int64)
    columns = np.ascontiguousarray(positions.T)
    corner = columns.take(polygons.indices, axis=1)
    low, high = (end.reduceat(corner, polygons.starts[:-1], axis=1).T for end in (np.minimum, np.maximum))
    a, b = own_candidate_pairs(np.stack([low, high, low], axis=1)).T
    count = polygons.counts.astype(np.int64) - 2
    first = np.cumsum(count) - count
    many = count[a] * count[b]
    row = np.repeat(np.arange(len(a)), many)
    within = np.arange(len(row)) - np.repeat(np.cumsum(many) - many, many)
    others = count[b][row]
    one, other = first[a][row] + within // others, first[b][row] + within % others
    at = [columns.take(corner, axis=1) for corner in polygons.triangles.T]
    low, high = np.minimum.reduce(at), np.maximum.reduce(at)
    meet = np.ones(len(row), dtype=bool)
    for lower, upper in zip(low, high, strict=True):
        meet &= (upper.take(one) >= lower.take(other)) & (lower.take(one) <= upper.take(other))
    total = max(len(polygons.triangles), 1)
    key = np.sort(one[meet] * total + other[meet])
    return np.stack([key // total, key % total], axis=1)


def _triangles_of(positions: Floats, corners: NDArray, a: Ints, b: Ints) -> Pairs:
    """(q, 2) the pairs of triangles of pairs of quads (p,), (p,) whose boxes meet, sorted; triangle i of quad q is
    2 q + i."""
    a, b = a[a != b], b[a != b]
    halves = np.array([[0, 1, 2], [0, 2, 3]])
    found = [np.zeros((0, 2), dtype=np.int64)]
    for begin in range(0, len(a), AT_ONCE):
        one, other = a[begin : begin + AT_ONCE], b[begin : begin + AT_ONCE]
        first, second = positions[corners[one]][:, halves], positions[corners[other]][:, halves]
        low, high = first.min(axis=2)[:, :, None], first.max(axis=2)[:, :, None]
        meet = (high >= second.min(axis=2)[:, None]) & (low <= second.max(axis=2)[:, None])
        row, i, j = np.nonzero(meet.all(axis=3))
        found.append(np.stack([2 * one[row] + i, 2 * other[row] + j], axis=1))
    pairs = np.concatenate(found)
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
