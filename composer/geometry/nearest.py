"""The closest point of a triangle mesh, and on which side of it a point lies.

Closest point on a triangle by its Voronoi regions: Ericson, Real-Time Collision Detection (2005), section
5.1.5. Side by the pseudonormal of the feature that is closest, a face, an edge or a vertex: Baerentzen and
Aanaes, Signed distance computation using the angle weighted pseudonormal (IEEE TVCG 11, 2005), which is right
for every closed mesh, where interpolated vertex normals are not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.vectors import cross

Floats = NDArray[np.float64]
_FEW = 8  # triangles that are tried at first for each point


@dataclass(frozen=True, eq=False)
class Closest:
    """For k points: signed distance in mm (k,), positive outside; the closest point (k, 3); its triangle
    (k,); and whether that point lies on an open border of the mesh (k,), where the sign means nothing."""

    signed: Floats
    points: Floats
    triangle: NDArray[np.int64]
    on_border: NDArray[np.bool_]


class NearestSurface:
    """Closest points on `triangles` (t, 3) of `positions` (n, 3) mm; made once, asked often."""

    def __init__(self, positions: NDArray, triangles: NDArray) -> None:
        self.corners = np.asarray(positions, dtype=np.float64)[triangles]
        self.triangles = np.asarray(triangles, dtype=np.int64)
        self._centres = self.corners.mean(axis=1)
        self._tree = cKDTree(self._centres)
        away = self.corners - self._centres[:, None]
        self._reach = np.sqrt(np.einsum("ijk,ijk->ij", away, away).max(axis=1, initial=0.0))
        self._pseudonormals()

    def __call__(self, points: NDArray) -> Closest:
        """Closest points of `points` (k, 3) mm."""
        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        if not len(points):
            none = np.zeros(0)
            return Closest(none, points, none.astype(np.int64), none.astype(bool))
        few = min(_FEW, len(self.corners))
        away, near = (each.reshape(len(points), few) for each in self._tree.query(points, few))
        bound = np.sqrt(closest_on_triangles(points, self.corners[near[:, 0]])[0]) * (1.0 + 1e-9) + 1e-12
        can = away <= bound[:, None] + self._reach[near]
        point, column = np.nonzero(can)
        triangle = near[point, column]
        short = away[:, -1] < bound + self._reach.max() if few < len(self.corners) else np.zeros(len(points), bool)
        if short.any():  # those for which more triangles than the few may be the closest
            point, triangle = self._all_near(points, bound, short, point, triangle)
        squared, where, bary = closest_on_triangles(points[point], self.corners[triangle])
        best = _first_least(squared, point, np.searchsorted(point, np.arange(len(points))))
        return self._signed(points, triangle[best], where[best], bary[best], squared[best])

    def _all_near(
        self, points: Floats, bound: Floats, short: NDArray[np.bool_], point: NDArray, triangle: NDArray
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """The pairs of points and triangles that may be closest, with all of them for the points in `short`."""
        index = np.flatnonzero(short)
        lists = self._tree.query_ball_point(points[index], bound[index] + self._reach.max())
        more = np.concatenate([np.asarray(found, dtype=np.int64) for found in lists])
        owner = np.repeat(index, [len(found) for found in lists])
        off = points[owner] - self._centres[more]
        can = np.sqrt(_dot(off, off)) <= bound[owner] + self._reach[more]
        kept = ~short[point]
        point, triangle = np.concatenate([point[kept], owner[can]]), np.concatenate([triangle[kept], more[can]])
        order = np.lexsort((triangle, point))
        return point[order], triangle[order]

    def _signed(
        self, points: Floats, triangle: NDArray, where: Floats, bary: Floats, squared: Floats
    ) -> Closest:
        used = bary > 0.0
        kind = used.sum(axis=1)
        row = np.arange(len(points))
        corner = np.argmax(used, axis=1)
        missing = np.argmin(used, axis=1)  # the edge opposite the one corner that plays no part
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
        self._face = _unit(cross(b - a, c - a))
        used = np.unique(self.triangles)
        self._place = np.zeros(int(used[-1]) + 1 if len(used) else 0, dtype=np.int64)
        self._place[used] = np.arange(len(used))
        local = self._place[self.triangles]
        self._vertex_normal = np.zeros((len(used), 3))
        for i in range(3):
            to_next = _unit(self.corners[:, (i + 1) % 3] - self.corners[:, i])
            to_last = _unit(self.corners[:, (i + 2) % 3] - self.corners[:, i])
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


def _first_least(values: Floats, group: NDArray, starts: NDArray) -> NDArray[np.int64]:
    """For each group the index of its least value, the first of equals; `group` is sorted, `starts` its begins."""
    least = np.minimum.reduceat(values, starts)
    candidates = np.flatnonzero(values == least[group])
    return candidates[np.searchsorted(group[candidates], np.arange(len(starts)))]


def _unit(vectors: Floats) -> Floats:
    length = np.sqrt(np.einsum("ij,ij->i", vectors, vectors))[:, None]
    return vectors / np.where(length > 0.0, length, 1.0)


def closest_on_triangles(points: Floats, corners: Floats) -> tuple[Floats, Floats, Floats]:
    """Squared distance (k,) from points (k, 3) to triangles (k, 3, 3), row by row, the closest point (k, 3) and its
    barycentrics (k, 3), zero exactly where on a border.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac, ap, bp, cp = b - a, c - a, points - a, points - b, points - c
    d1, d2 = _dot(ab, ap), _dot(ac, ap)
    d3, d4 = _dot(ab, bp), _dot(ac, bp)
    d5, d6 = _dot(ab, cp), _dot(ac, cp)
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    zero, one = np.zeros(len(points)), np.ones(len(points))
    along_ab, along_ac = _over(d1, d1 - d3), _over(d2, d2 - d6)
    along_bc = _over(d4 - d3, (d4 - d3) + (d5 - d6))
    total = va + vb + vc
    cases = [
        ((d1 <= 0.0) & (d2 <= 0.0), (one, zero, zero)),
        ((d3 >= 0.0) & (d4 <= d3), (zero, one, zero)),
        ((vc <= 0.0) & (d1 >= 0.0) & (d3 <= 0.0), (1.0 - along_ab, along_ab, zero)),
        ((d6 >= 0.0) & (d5 <= d6), (zero, zero, one)),
        ((vb <= 0.0) & (d2 >= 0.0) & (d6 <= 0.0), (1.0 - along_ac, zero, along_ac)),
        ((va <= 0.0) & (d4 >= d3) & (d5 >= d6), (zero, 1.0 - along_bc, along_bc)),
    ]
    inner = (_over(va, total), _over(vb, total), _over(vc, total))
    chosen = [case[0] for case in cases]
    bary = np.stack([np.select(chosen, [case[1][i] for case in cases], inner[i]) for i in range(3)], axis=1)
    where = bary[:, :1] * a + bary[:, 1:2] * b + bary[:, 2:] * c
    off = points - where
    return _dot(off, off), where, bary


def _dot(p: Floats, q: Floats) -> Floats:
    return np.einsum("ij,ij->i", p, q)


def _over(top: Floats, bottom: Floats) -> Floats:
    return top / np.where(bottom == 0.0, 1.0, bottom)
