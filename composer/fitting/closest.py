"""Closest points on a triangle mesh: where, on which triangle, with which normal, and whether on an open border.

Two ways share one table. `near` starts at the closest vertex (k-d tree) and walks: the triangles about it, then those
about the corners of the best one, until nothing comes closer. That is what a fit asks thousands of times; where sheets
lie close to each other it may stay on the wrong one. `exact` then looks at every triangle that a bound leaves in
play: triangles are sorted by size into classes, each with a tree of its own, so that a few large ones do not widen
the search among the small. Foot points by barycentric projection, held to the nearest side where they fall outside.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from composer.fitting.rays import SculptRays
from composer.geometry.polygons import read_only
from composer.geometry.surface import cross, unit_rows
from composer.head.places import SurfacePoint

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]
WALKS = 12
AT_ONCE = 20_000
"""Points of one round of `exact`, so that its lists stay small beside the mesh."""


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
    """A triangle mesh made ready to be asked for closest points; see the module's words."""

    def __init__(self, positions: ArrayLike, triangles: ArrayLike, normals: Rows | None = None) -> None:
        """Take `positions` (n, 3), `triangles` (t, 3) with t >= 1, and vertex normals (n, 3) other than its own."""
        self.positions = np.ascontiguousarray(positions, dtype=np.float64)
        self.triangles = np.ascontiguousarray(triangles, dtype=np.int64)
        if normals is not None:
            self.__dict__["normals"] = normals

    @cached_property
    def normals(self) -> Rows:
        """(n, 3) unit vertex normals: the triangles' vector areas summed about each vertex."""
        a, b, c = (self.positions[self.triangles[:, i]] for i in range(3))
        area = cross(b - a, c - a)
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
        fresh = np.flatnonzero(np.concatenate([[True], np.diff(key[order]) != 0]))
        single = np.diff(np.append(fresh, len(key))) == 1
        flags = np.zeros(len(key), dtype=bool)
        flags[order[fresh[single]]] = True
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
        """Its ray caster, made when first asked for."""
        return SculptRays(self.positions, self.triangles)

    @cached_property
    def mean_edge(self) -> float:
        """Mean length of the triangles' sides."""
        corners = self.positions[self.triangles]
        return float(np.mean([np.linalg.norm(corners[:, i] - corners[:, i - 1], axis=1).mean() for i in range(3)]))

    @cached_property
    def diagonal(self) -> float:
        """Diagonal of the bounding box of the vertices that triangles use."""
        return float(np.linalg.norm(np.ptp(self.positions[self._used], axis=0)))

    @cached_property
    def _used(self) -> Ints:
        flags = np.zeros(len(self.positions), dtype=bool)
        flags[self.triangles.ravel()] = True
        return np.flatnonzero(flags)

    @cached_property
    def _vertex_tree(self) -> cKDTree:
        return cKDTree(self.positions[self._used], balanced_tree=False, compact_nodes=False)

    @cached_property
    def _incident(self) -> tuple[Ints, Ints]:
        """Triangles about each vertex: (n + 1,) starts and the triangles, vertex after vertex."""
        corners = self.triangles.ravel()
        order = np.argsort(corners, kind="stable")
        starts = np.zeros(len(self.positions) + 1, dtype=np.int64)
        np.cumsum(np.bincount(corners, minlength=len(self.positions)), out=starts[1:])
        return starts, order // 3

    @cached_property
    def _classes(self) -> list[tuple[cKDTree, Ints, float]]:
        """The triangles by size: a tree of centres, which triangles, and the largest reach from a centre."""
        corners = self.positions[self.triangles]
        centres = corners.mean(axis=1)
        reach = np.sqrt(((corners - centres[:, None]) ** 2).sum(2).max(1))
        floor = max(float(np.median(reach)), 1e-300)
        size = np.clip(np.ceil(np.log2(np.maximum(reach, 1e-300) / floor)), 0, 40).astype(int)
        classes = []
        for step in np.unique(size):
            chosen = np.flatnonzero(size == step)
            tree = cKDTree(centres[chosen], balanced_tree=False, compact_nodes=False)
            classes.append((tree, chosen, float(reach[chosen].max())))
        return classes

    def surface_points(self, found: Closest) -> list[SurfacePoint]:
        """The k closest points as places of the mesh that go with its vertices."""
        corners = self.triangles[found.triangle].tolist()
        return [SurfacePoint(tuple(c), tuple(b)) for c, b in zip(corners, found.bary.tolist(), strict=True)]

    def near(self, points: ArrayLike) -> Closest:
        """Closest points of `points` (k, 3) by walking from the closest vertex."""
        wanted = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        best = np.full(len(wanted), np.inf)
        triangle = np.zeros(len(wanted), dtype=np.int64)
        bary = np.zeros((len(wanted), 3))
        active = np.arange(len(wanted))
        if not len(wanted):
            return self._told(wanted, triangle, bary)
        around = self._used[self._vertex_tree.query(wanted)[1]][:, None]
        for _ in range(WALKS):
            row, candidate = self._about(around)
            away, weights = _to_triangles(wanted[active[row]], self.positions[self.triangles[candidate]])
            first = _first_least(away, row, len(active))
            closer = away[first] < best[active] * (1 - 1e-12)
            moved, first = active[closer], first[closer]
            best[moved], triangle[moved], bary[moved] = away[first], candidate[first], weights[first]
            # the foot in the middle of a triangle cannot be bettered by its neighbours where the mesh is a sheet
            active = moved[(bary[moved] <= 1e-9).any(axis=1)]
            if not len(active):
                break
            around = self.triangles[triangle[active]]
        return self._told(wanted, triangle, bary)

    def exact(self, points: ArrayLike) -> Closest:
        """Closest points of `points` (k, 3) over every triangle."""
        wanted = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        start = self.near(wanted)
        triangle, bary = start.triangle.copy(), start.bary.copy()
        best = start.distance**2
        for begin in range(0, len(wanted), AT_ONCE):
            chosen = np.arange(begin, min(begin + AT_ONCE, len(wanted)))
            for tree, members, reach in self._classes:
                bound = np.sqrt(best[chosen]) * (1 + 1e-9) + 1e-12
                lists = tree.query_ball_point(wanted[chosen], bound + reach)
                count = np.fromiter((len(found) for found in lists), dtype=np.int64, count=len(lists))
                if not count.any():
                    continue
                candidate = members[np.concatenate([np.asarray(found, dtype=np.int64) for found in lists])]
                row = np.repeat(np.arange(len(chosen)), count)
                away, weights = _to_triangles(wanted[chosen[row]], self.positions[self.triangles[candidate]])
                some = np.flatnonzero(count)
                first = _first_least(away, row, len(chosen), some)
                closer = away[first] < best[chosen[some]] * (1 - 1e-12)
                moved, first = chosen[some[closer]], first[closer]
                best[moved], triangle[moved], bary[moved] = away[first], candidate[first], weights[first]
        return self._told(wanted, triangle, bary)

    def _about(self, around: Ints) -> tuple[Ints, Ints]:
        """For vertices (k, c): rows and the triangles about them, row after row (a triangle may come twice)."""
        starts, triangles = self._incident
        count = starts[around + 1] - starts[around]
        flat = count.ravel()
        first = np.repeat(starts[around].ravel() - (np.cumsum(flat) - flat), flat)
        return np.repeat(np.arange(len(around)), count.sum(1)), triangles[first + np.arange(int(flat.sum()))]

    def _told(self, wanted: Rows, triangle: Ints, bary: Rows) -> Closest:
        corner = self.triangles[triangle]
        at = np.einsum("ij,ijk->ik", bary, self.positions[corner])
        normal = unit_rows(np.einsum("ij,ijk->ik", bary, self.normals[corner]))
        nothing = bary <= 1e-9
        on_side = (nothing & self.border_edge[triangle]).any(axis=1)
        at_corner = (nothing.sum(1) == 2) & self.border_vertex[corner[np.arange(len(corner)), bary.argmax(1)]]
        away = np.linalg.norm(at - wanted, axis=1)
        return Closest(at, triangle, bary, away, normal, on_side | at_corner)


def _first_least(values: Rows, group: Ints, groups: int, some: Ints | None = None) -> Ints:
    """For each group (all of range(groups), or `some`) the place of its least value; `group` is sorted."""
    starts = np.searchsorted(group, np.arange(groups) if some is None else some)
    least = np.minimum.reduceat(values, starts)
    rank = np.zeros(groups, dtype=np.int64)
    rank[np.arange(groups) if some is None else some] = np.arange(len(starts))
    hits = np.flatnonzero(values == least[rank[group]])
    return hits[np.searchsorted(group[hits], np.arange(groups) if some is None else some)]


def _to_triangles(points: Rows, corners: Rows) -> tuple[Rows, Rows]:
    """Squared distance (k,) from points (k, 3) to triangles (k, 3, 3), and barycentric weights (k, 3) of the foot."""
    a = corners[:, 0]
    u, v, w = corners[:, 1] - a, corners[:, 2] - a, points - a
    uu, uv, vv = _dot(u, u), _dot(u, v), _dot(v, v)
    wu, wv = _dot(w, u), _dot(w, v)
    area = uu * vv - uv * uv
    flat = area <= 1e-12 * uu * vv
    area = np.where(flat, 1.0, area)
    second, third = (vv * wu - uv * wv) / area, (uu * wv - uv * wu) / area
    bary = np.stack([1 - second - third, second, third], axis=1)
    outside = np.flatnonzero((bary < 0).any(1) | flat)
    best = np.full(len(outside), np.inf)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        start = corners[outside, i]
        side, off = corners[outside, j] - start, points[outside] - start
        t = np.clip(_dot(off, side) / np.maximum(_dot(side, side), 1e-300), 0.0, 1.0)
        rest = off - t[:, None] * side
        away = _dot(rest, rest)
        nearer = away < best
        best[nearer] = away[nearer]
        chosen = outside[nearer]
        bary[chosen] = 0.0
        bary[chosen, i], bary[chosen, j] = 1 - t[nearer], t[nearer]
    off = w - bary[:, 1:2] * u - bary[:, 2:] * v
    return _dot(off, off), bary


def _dot(p: Rows, q: Rows) -> Rows:
    return np.einsum("ij,ij->i", p, q)
