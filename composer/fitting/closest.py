"""Closest points on a sculpt for a fit: their positions, their normals, and whether they are on an open border.

The search is `composer.geometry.closest`, exact over every triangle.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.fitting.rays import SculptRays
from composer.geometry.closest import ClosestPoints, Found, MovedClosestPoints
from composer.geometry.polygons import read_only
from composer.geometry.rigid import Similarity
from composer.geometry.triangle_metric import triangle_vectors
from composer.geometry.vectors import unit_rows
from composer.head.places import SurfacePoint

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]
ON_SIDE = 1e-9
"""A barycentric weight up to this counts as zero: the point lies on the opposite side or at a corner (no unit; rounding
of float64 and a margin)."""


@dataclass(frozen=True, eq=False)
class Closest:
    """For k points: the closest points (k, 3), their `triangle` (k,) and `bary` (k, 3) in it, the distance (k,), the
    unit `normal` (k, 3) interpolated from the mesh's vertex normals, and `on_border` (k,): on an open border.
    """

    points: Rows
    triangle: Ints
    bary: Rows
    distance: Rows
    normal: Rows
    on_border: NDArray[np.bool_]


class ClosestSurface:
    """A triangle mesh with the tables for closest points, which are built when first used."""

    def __init__(self, positions: ArrayLike, triangles: ArrayLike, normals: Rows | None = None) -> None:
        """Take `positions` (n, 3), `triangles` (t, 3) with t >= 1, and vertex normals (n, 3) other than its own."""
        self.positions = np.ascontiguousarray(positions, dtype=np.float64)
        self.triangles = np.ascontiguousarray(triangles, dtype=np.int64)
        if normals is not None:
            self.__dict__["normals"] = normals

    @cached_property
    def normals(self) -> Rows:
        """(n, 3) unit vertex normals: the triangles' vector areas summed about each vertex."""
        area = triangle_vectors(self.positions, self.triangles)
        summed = np.empty_like(self.positions)
        for axis in range(3):
            share = np.repeat(area[:, axis], 3)
            summed[:, axis] = np.bincount(self.triangles.ravel(), weights=share, minlength=len(summed))
        return read_only(unit_rows(summed))

    @cached_property
    def border_edge(self) -> NDArray[np.bool_]:
        """(t, 3) whether the side opposite each corner belongs to one triangle only."""
        ends = np.sort(self.triangles[:, [[1, 2], [2, 0], [0, 1]]], axis=2)
        key = ends[..., 0].ravel() * len(self.positions) + ends[..., 1].ravel()
        order = np.argsort(key, kind="stable")
        starts = np.flatnonzero(np.concatenate([[True], np.diff(key[order]) != 0]))
        single = np.diff(np.append(starts, len(key))) == 1
        flags = np.zeros(len(key), dtype=bool)
        flags[order[starts[single]]] = True
        return read_only(flags.reshape(-1, 3))

    @cached_property
    def border_vertex(self) -> NDArray[np.bool_]:
        """(n,) whether a vertex lies on an open border."""
        flags = np.zeros(len(self.positions), dtype=bool)
        for corner in range(3):
            sides = self.triangles[self.border_edge[:, corner]]
            flags[sides[:, (corner + 1) % 3]] = flags[sides[:, (corner + 2) % 3]] = True
        return read_only(flags)

    @cached_property
    def rays(self) -> SculptRays:
        """Its ray caster, built when first used."""
        return SculptRays(self.positions, self.triangles)

    @cached_property
    def mean_edge(self) -> float:
        """Mean length of the triangles' sides."""
        corners = self.positions[self.triangles]
        return float(np.mean([np.linalg.norm(corners[:, i] - corners[:, i - 1], axis=1).mean() for i in range(3)]))

    @cached_property
    def diagonal(self) -> float:
        """Diagonal of the bounding box of the vertices that triangles use."""
        return float(np.linalg.norm(np.ptp(self.positions[np.unique(self.triangles)], axis=0)))

    def moved(self, move: Similarity) -> ClosestSurface:
        """The same surface turned, scaled and shifted. It shares the tables and trees of this one."""
        there = ClosestSurface(move(self.positions), self.triangles, read_only(move.turn(self.normals)))
        there.__dict__["border_edge"] = self.border_edge
        there.__dict__["border_vertex"] = self.border_vertex
        there.__dict__["_search"] = self._search.moved(move)
        return there

    @cached_property
    def _search(self) -> ClosestPoints | MovedClosestPoints:
        return ClosestPoints(self.positions, self.triangles)

    def surface_points(self, found: Closest) -> list[SurfacePoint]:
        """The k closest points as places that move with the vertices of the mesh."""
        corners = self.triangles[found.triangle].tolist()
        return [SurfacePoint(tuple(c), tuple(b)) for c, b in zip(corners, found.bary.tolist(), strict=True)]

    def closest(self, points: ArrayLike, reach: float = np.inf) -> Closest:
        """The closest points of `points` (k, 3), over every triangle. Where nothing lies within `reach` mm the triangle
        is -1, the distance infinite, and the rest means nothing. Raises MoueError where a point is not finite."""
        return self._described(self._search(points, reach))

    def nearby(self, points: ArrayLike) -> Closest:
        """Close points to `points` (k, 3) by the walk of `ClosestPoints.nearby`, for the rounds of a fit."""
        return self._described(self._search.nearby(points))

    def _described(self, found: Found) -> Closest:
        corner, bary = self.triangles[found.triangle], found.bary
        at = np.einsum("ij,ijk->ik", bary, self.positions[corner])
        normal = unit_rows(np.einsum("ij,ijk->ik", bary, self.normals[corner]))
        nothing = bary <= ON_SIDE
        on_side = (nothing & self.border_edge[found.triangle]).any(axis=1)
        at_corner = (nothing.sum(1) == 2) & self.border_vertex[corner[np.arange(len(corner)), bary.argmax(1)]]
        return Closest(at, found.triangle, bary, np.sqrt(found.squared), normal, on_side | at_corner)
