"""The signed distance of points from a triangle mesh: how far, and on which side.

The side follows from the pseudonormal of the closest feature, a face, an edge or a vertex (Baerentzen and Aanaes 2005,
"Signed distance computation using the angle weighted pseudonormal", IEEE TVCG 11). It is exact for every closed mesh;
interpolated vertex normals are not. The closest points are those of `composer.geometry.closest`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.closest import ClosestPoints
from composer.geometry.vectors import cross, unit_rows

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Closest:
    """For k points: the `signed` distance (k,) in mm, positive outside; the closest `points` (k, 3); their `triangle`
    (k,); and whether they lie on an open border of the mesh (k,), where the sign has no meaning."""

    signed: Floats
    points: Floats
    triangle: NDArray[np.int64]
    on_border: NDArray[np.bool_]


class NearestSurface:
    """Closest points on `triangles` (t, 3) of `positions` (n, 3) mm, with the side. Its tables are built once."""

    def __init__(self, positions: NDArray, triangles: NDArray) -> None:
        self.corners = np.asarray(positions, dtype=np.float64)[triangles]
        self.triangles = np.asarray(triangles, dtype=np.int64)
        self._closest = ClosestPoints(positions, triangles)
        self._pseudonormals()

    def __call__(self, points: NDArray) -> Closest:
        """Closest points of `points` (k, 3) mm."""
        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        if not len(points):
            none = np.zeros(0)
            return Closest(none, points, none.astype(np.int64), none.astype(bool))
        found = self._closest(points)
        where = np.einsum("ij,ijk->ik", found.bary, self.corners[found.triangle])
        return self._signed(points, found.triangle, where, found.bary, found.squared)

    def _signed(
        self, points: Floats, triangle: NDArray, where: Floats, bary: Floats, squared: Floats
    ) -> Closest:
        used = bary > 0.0
        kind = used.sum(axis=1)
        row = np.arange(len(points))
        corner = np.argmax(used, axis=1)
        missing = np.argmin(used, axis=1)  # the edge opposite the corner of weight 0
        edge = self._edge_of[triangle, missing]
        vertex = self.triangles[triangle, corner]
        normal = np.where((kind == 3)[:, None], self._face[triangle], self._edge_normal[edge])
        normal = np.where((kind == 1)[:, None], self._vertex_normal[self._place[vertex]], normal)
        border = np.where(
            kind == 2, self._edge_open[edge], (kind == 1) & self._vertex_open[self._place[vertex]]
        )
        side = np.einsum("ij,ij->i", points[row] - where, normal)
        return Closest(np.where(side < 0.0, -1.0, 1.0) * np.sqrt(squared), where, triangle, border)

    def _pseudonormals(self) -> None:
        a, b, c = self.corners[:, 0], self.corners[:, 1], self.corners[:, 2]
        self._face = unit_rows(cross(b - a, c - a))
        used = np.unique(self.triangles)
        self._place = np.zeros(int(used[-1]) + 1 if len(used) else 0, dtype=np.int64)
        self._place[used] = np.arange(len(used))
        local = self._place[self.triangles]
        self._vertex_normal = np.zeros((len(used), 3))
        for i in range(3):
            to_next = unit_rows(self.corners[:, (i + 1) % 3] - self.corners[:, i])
            to_last = unit_rows(self.corners[:, (i + 2) % 3] - self.corners[:, i])
            angle = np.arccos(np.clip(np.einsum("ij,ij->i", to_next, to_last), -1.0, 1.0))
            self._vertex_normal += _summed(local[:, i], self._face * angle[:, None], len(used))
        ends = np.stack(
            [local[:, [1, 2]], local[:, [2, 0]], local[:, [0, 1]]], axis=1
        )  # opposite corner 0, 1, 2
        ends = np.sort(ends.reshape(-1, 2), axis=1)
        key = ends[:, 0] * max(len(used), 1) + ends[:, 1]
        _, where, count = np.unique(key, return_inverse=True, return_counts=True)
        self._edge_of = where.reshape(-1, 3)
        self._edge_normal = np.zeros((len(count), 3))
        for i in range(3):
            self._edge_normal += _summed(self._edge_of[:, i], self._face, len(count))
        self._edge_open = count == 1
        self._vertex_open = np.zeros(len(used), dtype=bool)
        self._vertex_open[ends[self._edge_open[where.ravel()]].ravel()] = True


def _summed(place: NDArray, vectors: Floats, count: int) -> Floats:
    """(count, 3) the sums of `vectors` (k, 3) by their places (k,)."""
    return np.stack([np.bincount(place, weights=vectors[:, i], minlength=count) for i in range(3)], axis=1)
