"""The polygons of one mesh that cross each other, found once and kept up to date while some vertices move.

Whatever counts how often a mesh crosses itself counts it here, in polygons. Two triangles without a common vertex cross
as `self_intersection` says. Two that share one vertex cross where the side of one that is opposite the shared vertex
passes through the other: left out, a fourth of the crossing polygons of lips would be missed. Two that share an edge,
and two of one polygon, do not count: they are a fold, which other tests find.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.geometry.flat_blocks import FlatBlocks
from composer.geometry.flat_fans import FlatFans
from composer.geometry.polygons import Polygons
from composer.geometry.self_intersection import (
    Pairs,
    candidate_pairs,
    cross,
    edges_through,
    shared_vertices,
)

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
FEW_OF = 50
"""About fewer than one in so many vertices, fans are looked at without those of all others (our choice, for time)."""


class SelfCrossing:
    """Finds the pairs of triangles of some polygons that cross, at any positions of their vertices."""

    def __init__(self, polygons: Polygons) -> None:
        """Take the polygons of one mesh of n vertices, cut into t triangles (`polygons.triangles`)."""
        self.polygons = polygons
        self.triangles = np.asarray(polygons.triangles, dtype=np.int64)
        self.face = np.asarray(polygons.triangle_face, dtype=np.int64)
        self._blocks = FlatBlocks(polygons)

    @cached_property
    def _fans(self) -> FlatFans:
        return FlatFans(self.triangles, self.polygons.n_vertices)

    def pairs(self, positions: Floats) -> Pairs:
        """(p, 2) the pairs of triangles that cross at `positions` (n, 3) mm, each once, lower index first, sorted."""
        positions = np.asarray(positions, dtype=np.float64)
        return self.crossing_of(positions, self._blocks.pairs(positions))

    def at(self, positions: Floats) -> Crossings:
        """The pairs that cross at `positions` (n, 3) mm, to be kept up to date while some vertices move."""
        return Crossings(self, positions)

    def crossing_of(self, positions: Floats, pairs: Pairs) -> Pairs:
        """Those of some candidate `pairs` (p, 2) of triangles that cross at `positions` (n, 3) mm."""
        pairs = pairs[self.face[pairs[:, 0]] != self.face[pairs[:, 1]]]
        shared = shared_vertices(self.triangles, pairs)
        hit = np.zeros(len(pairs), dtype=bool)
        apart, touching = np.flatnonzero(shared == 0), np.flatnonzero(shared == 1)
        one, other = (self.triangles[pairs[apart, side]] for side in (0, 1))
        hit[apart] = cross(positions[one], positions[other])
        touching = touching[self._not_flat(positions, pairs[touching])]
        hit[touching] = self._opposite_through(positions, pairs[touching])
        return pairs[hit]

    def _not_flat(self, positions: Floats, pairs: Pairs) -> Flags:
        """(p,) whether the vertex that two triangles of `pairs` (p, 2) share is one where triangles may cross."""
        a, b = self.triangles[pairs[:, 0]], self.triangles[pairs[:, 1]]
        first, second = ((a[:, i : i + 1] == b).any(axis=1) for i in (0, 1))
        vertex = np.where(first, a[:, 0], np.where(second, a[:, 1], a[:, 2]))
        seen = np.zeros(self.polygons.n_vertices, dtype=bool)
        seen[vertex] = True
        at = np.flatnonzero(seen)
        seen[at] = ~self._fans_about(seen, len(at)).flat(positions, at)
        return seen[vertex]

    def _fans_about(self, seen: Flags, count: int) -> FlatFans:
        """The fans of the vertices flagged in `seen` (n,), `count` of them, with or without those of others."""
        if FEW_OF * count > self.polygons.n_vertices:
            return self._fans
        return FlatFans(self.triangles[seen[self.triangles].any(axis=1)], self.polygons.n_vertices)

    def _opposite_through(self, positions: Floats, pairs: Pairs) -> Flags:
        """(p,) whether in pairs of triangles that share one vertex a side opposite it passes through the other."""
        through = np.zeros(len(pairs), dtype=bool)
        a, b = self.triangles[pairs[:, 0]], self.triangles[pairs[:, 1]]
        same = a[:, :, None] == b[:, None, :]
        row = np.arange(len(pairs))
        for one, other, at in ((a, b, same.any(axis=2)), (b, a, same.any(axis=1))):
            corner = at.argmax(axis=1)
            side = np.stack([one[row, (corner + 1) % 3], one[row, (corner + 2) % 3]], axis=1)
            through |= edges_through(positions[side], positions[other])
        return through

    def faces_of(self, pairs: Pairs) -> Pairs:
        """(q, 2) the pairs of polygons that pairs of triangles (p, 2) belong to, each once, lower index first."""
        both = np.sort(self.face[pairs], axis=1)
        key = np.unique(both[:, 0] * self.polygons.n_faces + both[:, 1])
        return np.stack([key // self.polygons.n_faces, key % self.polygons.n_faces], axis=1)

    def pairs_of(self, positions: Floats, changed: Flags, others: NDArray) -> Pairs:
        """(p, 2) those of `pairs` in which a triangle flagged in `changed` (t,) crosses another; `others` (k,) are
        numbers of triangles, ascending, with at least all that are flagged and all that these cross."""
        ones = np.flatnonzero(changed)
        found = candidate_pairs(positions[self.triangles[ones]], positions[self.triangles[others]])
        found = np.stack([ones[found[:, 0]], others[found[:, 1]]], axis=1)
        found = found[(found[:, 0] < found[:, 1]) | ~changed[found[:, 1]]]
        return _ordered(self.crossing_of(positions, np.sort(found, axis=1)))

    def without(self, pairs: Pairs, known: Pairs) -> Pairs:
        """(q, 2) those of `pairs` (p, 2) of triangles that are not among the `known` (k, 2)."""
        count = len(self.triangles)
        return pairs[~np.isin(pairs[:, 0] * count + pairs[:, 1], known[:, 0] * count + known[:, 1])]

    def count(self, pairs: Pairs) -> int:
        """How many polygons are in `pairs` (p, 2) of triangles."""
        return len(np.unique(self.face[pairs]))

    def crossing_faces(self, positions: Floats) -> Flags:
        """(f,) the polygons that cross another at `positions` (n, 3) mm."""
        return self.faces_among(self.pairs(positions))

    def faces_among(self, pairs: Pairs) -> Flags:
        """(f,) the polygons that are in `pairs` (p, 2) of triangles."""
        flags = np.zeros(self.polygons.n_faces, dtype=bool)
        flags[self.face[pairs].ravel()] = True
        return flags


class Crossings:
    """The `pairs` of triangles that cross at `positions` (n, 3) mm. A trial tests only the triangles that move."""

    def __init__(self, test: SelfCrossing, positions: Floats, pairs: Pairs | None = None) -> None:
        """Begin at `positions` (n, 3) mm; `pairs` (p, 2) are those that cross there, where they are known."""
        self.test = test
        self.positions: Floats = np.array(positions, dtype=np.float64)
        self.pairs: Pairs = test.pairs(self.positions) if pairs is None else pairs
        corners = self.positions[test.triangles]
        self._low = np.ascontiguousarray(corners.min(axis=1).T)
        self._high = np.ascontiguousarray(corners.max(axis=1).T)

    def tried(self, positions: Floats, moved: Flags) -> Pairs:
        """(p, 2) the pairs that would cross at `positions` (n, 3) mm, where only the vertices flagged in `moved` (n,)
        lie elsewhere than now; as `SelfCrossing.pairs` gives them."""
        triangles = self.test.triangles
        changed: Flags = np.any(moved[triangles], axis=1)
        ones = np.flatnonzero(changed)
        kept = self.pairs[~changed[self.pairs].any(axis=1)]
        if not len(ones):
            return kept
        corners = positions[triangles[ones]]
        low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
        near = changed.copy()
        near |= ((self._high >= low[:, None]) & (self._low <= high[:, None])).all(axis=0)
        return _ordered(np.concatenate([kept, self.test.pairs_of(positions, changed, np.flatnonzero(near))]))

    def move(self, positions: Floats, moved: Flags, pairs: Pairs) -> None:
        """Take `positions` (n, 3) mm, at which the vertices flagged in `moved` (n,) lie elsewhere, and the `pairs` that
        `tried` found there."""
        self.positions = np.array(positions, dtype=np.float64)
        self.pairs = pairs
        changed = np.flatnonzero(moved[self.test.triangles].any(axis=1))
        corners = self.positions[self.test.triangles[changed]]
        self._low[:, changed] = corners.min(axis=1).T
        self._high[:, changed] = corners.max(axis=1).T


def _ordered(pairs: Pairs) -> Pairs:
    """The pairs (p, 2) sorted by their first number, then by their second."""
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
