"""The polygons of one mesh that cross each other, found once and kept up to date while some vertices move.

Two triangles without a common vertex cross as `self_intersection` says. Two that share one vertex cross where the side
of one that is opposite the shared vertex passes through the other. Two that share an edge, and two of one polygon, do
not count: they are a fold, which other tests find.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.geometry.self_intersection import (
    Pairs,
    candidate_pairs,
    cross,
    edges_through,
    own_candidate_pairs,
    shared_vertices,
)

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class SelfCrossing:
    """Finds the pairs of triangles of some polygons that cross. It holds no positions: pairs found at one place of the
    vertices are brought up to date by `after`."""

    def __init__(self, polygons: Polygons) -> None:
        """Take the polygons of one mesh of n vertices, cut into t triangles (`polygons.triangles`)."""
        self.polygons = polygons
        self.triangles = np.asarray(polygons.triangles, dtype=np.int64)
        self.face = np.asarray(polygons.triangle_face, dtype=np.int64)

    def pairs(self, positions: Floats) -> Pairs:
        """(p, 2) the pairs of triangles that cross at `positions` (n, 3) mm, each once, lower index first, sorted."""
        corners = np.asarray(positions, dtype=np.float64)[self.triangles]
        return self._crossing(corners, own_candidate_pairs(corners))

    def after(self, pairs: Pairs, positions: Floats, moved: Flags) -> Pairs:
        """(p, 2) the pairs at `positions` (n, 3) mm, as `pairs` gives them, from the `pairs` before the vertices flagged
        in `moved` (n,) moved: only the triangles with a moved corner are tested."""
        changed = moved[self.triangles].any(axis=1)
        kept = pairs[~changed[pairs].any(axis=1)]
        ones = np.flatnonzero(changed)
        corners = np.asarray(positions, dtype=np.float64)[self.triangles]
        found = candidate_pairs(corners[ones], corners)
        found[:, 0] = ones[found[:, 0]]
        found = found[(found[:, 0] < found[:, 1]) | ~changed[found[:, 1]]]
        every = np.concatenate([kept, self._crossing(corners, np.sort(found, axis=1))])
        return every[np.lexsort((every[:, 1], every[:, 0]))]

    def _crossing(self, corners: Floats, pairs: Pairs) -> Pairs:
        """Those of the candidate `pairs` (p, 2) that cross, triangles at `corners` (t, 3, 3)."""
        pairs = pairs[self.face[pairs[:, 0]] != self.face[pairs[:, 1]]]
        shared = shared_vertices(self.triangles, pairs)
        hit = np.zeros(len(pairs), dtype=bool)
        apart, touching = np.flatnonzero(shared == 0), np.flatnonzero(shared == 1)
        hit[apart] = cross(corners[pairs[apart, 0]], corners[pairs[apart, 1]])
        hit[touching] = self._opposite_through(corners, pairs[touching])
        return pairs[hit]

    def _opposite_through(self, corners: Floats, pairs: Pairs) -> Flags:
        """(p,) whether in pairs of triangles that share one vertex a side opposite it passes through the other."""
        through = np.zeros(len(pairs), dtype=bool)
        a, b = self.triangles[pairs[:, 0]], self.triangles[pairs[:, 1]]
        same = a[:, :, None] == b[:, None, :]
        row = np.arange(len(pairs))
        for one, other, at in ((0, 1, same.any(axis=2)), (1, 0, same.any(axis=1))):
            corner = at.argmax(axis=1)
            sides = corners[pairs[:, one]]
            ends = np.stack([sides[row, (corner + 1) % 3], sides[row, (corner + 2) % 3]], axis=1)
            through |= edges_through(ends, corners[pairs[:, other]])
        return through

    def faces_of(self, pairs: Pairs) -> Pairs:
        """(q, 2) the pairs of polygons that pairs of triangles (p, 2) belong to, each once, lower index first."""
        both = np.sort(self.face[pairs], axis=1)
        key = np.unique(both[:, 0] * self.polygons.n_faces + both[:, 1])
        return np.stack([key // self.polygons.n_faces, key % self.polygons.n_faces], axis=1)

    def crossing_faces(self, positions: Floats) -> Flags:
        """(f,) the polygons that cross another at `positions` (n, 3) mm."""
        flags = np.zeros(self.polygons.n_faces, dtype=bool)
        flags[self.face[self.pairs(positions)].ravel()] = True
        return flags
