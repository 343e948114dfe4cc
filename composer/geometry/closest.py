"""The closest point of a triangle mesh to each of many points: exact, over every triangle.

A first distance comes from the triangle whose middle is nearest (k-d tree). Then a tree of bounds
(`composer.geometry.bounds`) is searched from the top, for all points at once. Bounds that are further from a point than
its first distance are dropped, and the triangles that remain are measured (`composer.geometry.closest_on_triangle`).

All of Moue searches closest points here. Normals, borders and sides follow from the triangle and its weights.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from composer.errors import MoueError
from composer.geometry.bounds import CHILDREN, Boxes, Discs, bounds
from composer.geometry.closest_on_triangle import TriangleFrames
from composer.geometry.rigid import Similarity

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Accept = Callable[[Ints, Ints], NDArray[np.bool_]]

AT_ONCE = 4096
"""Points of one round, so that its arrays stay in the processor's cache (our choice). It changes the time alone."""
WALKS = 12
"""Most steps of the walk in `nearby` (our choice); the points of a fit take two or three."""
SLACK = 1e-9
"""Share of the squared distance by which comparisons allow for rounding (our choice, far above float64's)."""


@dataclass(frozen=True, eq=False)
class Found:
    """For k points: the `triangle` (k,) on which the closest point lies, -1 where there is none, its barycentric
    weights `bary` (k, 3) there, and the `squared` distance (k,), inf where there is none."""

    triangle: Ints
    bary: Floats
    squared: Floats


class ClosestPoints:
    """Closest points on `triangles` (t, 3) of `positions` (n, 3) in any one unit. The trees are built when first used.
    """

    def __init__(self, positions: ArrayLike, triangles: ArrayLike) -> None:
        """Raises MoueError where there is no triangle, or a corner of one is not a finite position."""
        self._positions = np.asarray(positions, dtype=np.float64)
        self._triangles = np.asarray(triangles, dtype=np.int64).reshape(-1, 3)
        corners = self._positions[self._triangles]
        if not len(corners):
            raise MoueError("there is no surface to find closest points on: the mesh has no polygons")
        if not np.isfinite(corners).all():
            raise MoueError("a vertex of the surface has a position that is not a number")
        self._frames = TriangleFrames.of(corners)

    def moved(self, move: Similarity) -> MovedClosestPoints:
        """The same where the mesh is turned, scaled and shifted; the trees are these."""
        return MovedClosestPoints(self, move.inverse())

    @cached_property
    def _size(self) -> float:
        """The furthest distance of a corner of a triangle from its middle."""
        corners = self._positions[self._triangles]
        off = corners - corners.mean(axis=1, keepdims=True)
        return float(np.sqrt(np.einsum("tij,tij->ti", off, off).max()))

    @cached_property
    def _middles(self) -> cKDTree:
        middles = self._positions[self._triangles].mean(axis=1)
        return cKDTree(middles, balanced_tree=False, compact_nodes=False)

    @cached_property
    def _bounds(self) -> tuple[list[Discs | Boxes], Ints]:
        """The tree of bounds, and the order in which it holds the triangles."""
        order = self._middles.indices.astype(np.int64)
        return bounds(self._positions[self._triangles[order]]), order

    @cached_property
    def _vertices(self) -> tuple[cKDTree, Ints, Ints, Ints]:
        """A tree of the vertices that triangles use, the numbers of these vertices, and the triangles about each
        vertex: (n + 1,) starts and the triangles, vertex after vertex."""
        flat = self._triangles.ravel()
        count = np.bincount(flat, minlength=len(self._positions))
        used = np.flatnonzero(count)
        tree = cKDTree(self._positions[used], balanced_tree=False, compact_nodes=False)
        return tree, used, np.r_[0, np.cumsum(count)], np.argsort(flat, kind="stable") // 3

    def __call__(self, points: ArrayLike, reach: float = np.inf) -> Found:
        """The closest point to each of `points` (k, 3), where there is one no further away than `reach`. Raises
        MoueError where a point is not a finite position."""
        sought = _checked(points)
        if not len(sought) or reach == np.inf:
            nearest = self._middles.query(sought)[1].astype(np.int64) if len(sought) else np.zeros(0, dtype=np.int64)
            return self._search(sought, self._frames.squared(sought, nearest), None)
        furthest = (reach + self._size) * (1.0 + SLACK)
        nearest = self._middles.query(sought, distance_upper_bound=furthest)[1].astype(np.int64)
        near = np.flatnonzero(nearest < len(self._triangles))
        most = np.minimum(self._frames.squared(sought[near], nearest[near]), reach**2)
        found = self._search(sought[near], most, None)
        triangle, bary = np.full(len(sought), -1, dtype=np.int64), np.zeros((len(sought), 3))
        squared = np.full(len(sought), np.inf)
        triangle[near], bary[near], squared[near] = found.triangle, found.bary, found.squared
        return Found(triangle, bary, squared)

    def nearby(self, points: ArrayLike) -> Found:
        """A close point to each of `points` (k, 3), by a walk over neighbouring triangles. It starts at the nearest
        vertex and goes on about the corners of the best triangle until none is closer, at most WALKS steps.

        On a single sheet the result is the closest point. Where sheets lie close to each other, or triangles are much
        longer than their neighbours, it may be another one. The walk takes a third of the time of the exact search: it
        is meant for the rounds of a fit. Raises MoueError where a point is not a finite position.
        """
        sought = _checked(points)
        tree, used, _, _ = self._vertices
        begin = used[tree.query(sought)[1]] if len(sought) else np.zeros(0, dtype=np.int64)
        triangle = np.zeros(len(sought), dtype=np.int64)
        for i in range(0, len(sought), AT_ONCE):
            triangle[i : i + AT_ONCE] = self._walked(sought[i : i + AT_ONCE], begin[i : i + AT_ONCE])
        bary, squared = self._frames.closest(sought, triangle)
        return Found(triangle, bary, squared)

    def _walked(self, sought: Floats, begin: Ints) -> Ints:
        """(k,) the triangles at which walks from vertices `begin` (k,) towards the points `sought` (k, 3) end."""
        _, _, starts, about = self._vertices
        triangle, squared = np.zeros(len(sought), dtype=np.int64), np.full(len(sought), np.inf)
        active, corners = np.arange(len(sought)), begin[:, None]
        for _ in range(WALKS):
            if not len(active):
                break
            count = (starts[corners + 1] - starts[corners]).ravel()
            first = np.repeat(starts[corners].ravel() - (np.cumsum(count) - count), count)
            candidate = about[first + np.arange(int(count.sum()))]
            row = np.repeat(np.repeat(np.arange(len(active)), corners.shape[1]), count)
            away = self._frames.squared(sought.take(active[row], axis=0), candidate)
            best = _least_of_each(row, away)
            closer = away[best] < squared[active] * (1.0 - SLACK)
            best, moved = best[closer], active[closer]
            triangle[moved], squared[moved] = candidate[best], away[best]
            # on a single sheet no neighbour is closer than a foot inside its triangle
            bary, _ = self._frames.closest(sought[moved], triangle[moved])
            active = moved[(bary == 0.0).any(axis=1)]
            corners = self._triangles[triangle[active]]
        return triangle

    def within(self, points: ArrayLike, reach: ArrayLike, accept: Accept) -> Found:
        """The closest point to each of `points` (k, 3) on an accepted triangle no further away than `reach`, one number
        or (k,), in the unit of the points. `accept` takes m pairs, as (m,) indices into `points` and (m,) triangles,
        and returns (m,) which of them are accepted. Raises MoueError where a point is not a finite position.
        """
        sought = _checked(points)
        most = np.broadcast_to(np.asarray(reach, dtype=np.float64), len(sought)) ** 2
        return self._search(sought, most, accept)

    def _search(self, points: Floats, most: Floats, accept: Accept | None) -> Found:
        """The closest accepted points whose squared distance is at most `most` (k,)."""
        triangle = np.full(len(points), -1, dtype=np.int64)
        for begin in range(0, len(points), AT_ONCE):
            place, candidate = self._candidates(points[begin : begin + AT_ONCE], most[begin : begin + AT_ONCE])
            place += begin
            if accept is not None:
                accepted = accept(place, candidate)
                place, candidate = place[accepted], candidate[accepted]
            first = _least_of_each(place, self._frames.squared(points.take(place, axis=0), candidate))
            triangle[place[first]] = candidate[first]
        bary, squared = self._frames.closest(points, np.maximum(triangle, 0))
        none = (triangle < 0) | (squared > most * (1.0 + SLACK))
        return Found(np.where(none, -1, triangle), bary, np.where(none, np.inf, squared))

    def _candidates(self, points: Floats, most: Floats) -> tuple[Ints, Ints]:
        """Pairs of a point and a triangle whose squared distance may be at most `most` (k,), sorted by point."""
        bound = most * (1.0 + SLACK)
        levels, order = self._bounds
        top = len(levels[0])
        row, which = np.repeat(np.arange(len(points)), top), np.tile(np.arange(top), len(points))
        along = np.ascontiguousarray(points.T)
        for depth, level in enumerate(levels):
            if depth:
                which = (which[:, None] * CHILDREN + np.arange(CHILDREN)).ravel()
                row = np.repeat(row, CHILDREN)
                if len(level) % CHILDREN:  # the last bound has fewer in it
                    row, which = row[which < len(level)], which[which < len(level)]
            near = np.flatnonzero(level.apart(along.take(row, axis=1), which) <= bound.take(row))
            row, which = row.take(near), which.take(near)
        return row, order[which]


class MovedClosestPoints:
    """Closest points on a mesh that is turned, scaled and shifted, by the trees of the mesh itself."""

    def __init__(self, still: ClosestPoints, back: Similarity) -> None:
        """`still` searches the mesh where it was, and `back` is the way there."""
        self._still, self._back = still, back

    def __call__(self, points: ArrayLike, reach: float = np.inf) -> Found:
        """As `ClosestPoints`."""
        return self._ahead(self._still(self._back(_checked(points)), reach * self._back.scale))

    def nearby(self, points: ArrayLike) -> Found:
        """As `ClosestPoints.nearby`."""
        return self._ahead(self._still.nearby(self._back(_checked(points))))

    def moved(self, move: Similarity) -> MovedClosestPoints:
        """The same where the moved mesh is moved once more."""
        once, twice = self._back, move.inverse()
        shift = once.scale * once.rotation @ twice.shift + once.shift
        back = Similarity(once.rotation @ twice.rotation, shift, once.scale * twice.scale)
        return MovedClosestPoints(self._still, back)

    def _ahead(self, found: Found) -> Found:
        return Found(found.triangle, found.bary, found.squared / self._back.scale**2)


def _least_of_each(group: Ints, values: Floats) -> Ints:
    """(g,) for each group of the sorted `group` (k,) the index of its least value, the first among equals."""
    if not len(group):
        return np.zeros(0, dtype=np.int64)
    starts = np.flatnonzero(np.r_[True, group[1:] != group[:-1]])
    number = np.repeat(np.arange(len(starts)), np.diff(np.r_[starts, len(group)]))
    hits = np.flatnonzero(values == np.minimum.reduceat(values, starts)[number])
    return hits[np.searchsorted(number[hits], np.arange(len(starts)))]


def _checked(points: ArrayLike) -> Floats:
    """`points` as (k, 3) float64. Raises MoueError where one is not finite."""
    sought = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    if not np.isfinite(sought).all():
        bad = int(np.flatnonzero(~np.isfinite(sought).all(axis=1))[0])
        raise MoueError(f"point {bad} has a position that is not a number")
    return sought
