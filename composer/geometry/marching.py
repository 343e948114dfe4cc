"""Distance along the surface in a window, from a point or from curves, with lines that it never crosses.

First Dijkstra's algorithm over edges and both diagonals of the polygons gives an upper bound, and the order in which a
front arrives. Then the eikonal equation is solved on the triangles, a band of vertices at a time, each band twice (the
group marching of Kim 2001, "An O(N) level set method for eikonal equations", on triangles as in Kimmel and Sethian
1998, "Computing geodesic paths on manifolds"). From one point the front in a triangle is a circle about its unfolded
source (Novotni and Klein 2002, "Computing geodesic distances on triangular meshes"), which is exact in the plane. From
a curve it is a straight line, which is exact for straight curves, with circles about the ends. Several points and
curves march one by one, each where it may arrive first, and the least distance counts. Every polygon is split along
every diagonal, so no direction of the grid is favoured.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from composer.errors import MoueError
from composer.geometry.geodesic import checked_vertices
from composer.geometry.stencils import Stencils
from composer.geometry.surface import Floats, Surface

Indices = NDArray[np.int64]
STRAIGHT, ROUND = "straight", "round"

MOST_FRONTS = 64
"""Most sources with their own fronts; further sources share one straight front. It limits the time (our choice)."""
SMALL = 5000
"""Windows below this many vertices are marched once (our choice). In larger windows the order of Dijkstra's bound
differs from the order in which the front arrives, so they are marched again in the order found, up to four times."""

MOST_TABLES = 4
"""Threads whose tables are kept at once; it limits memory only."""

DETOUR = 1.2
"""Most that the path over edges exceeds the straight one, as a ratio: 2 / sqrt(3) = 1.155 on a regular net of
triangles, 1.082 on squares with their diagonals, and a margin.
"""
EARLY = 0.35
"""Mean edge lengths by which the ends of an edge may be reached later than its target and still update it (our choice:
the order of Dijkstra's bound is not exact)."""
BAND = 1.25
"""Width of a band of vertices that are updated together, in mean edge lengths (our choice after Kim 2001)."""


class Marching:
    """Windowed distances on one surface; its tables are built once. A front ends at the vertices flagged in `blocked`
    (n,), so a line of them that follows edges is never crossed.
    """

    def __init__(self, surface: Surface, blocked: ArrayLike | None = None) -> None:
        """Raises MoueError where `blocked` is not one flag a vertex."""
        n = surface.n_vertices
        flags = np.zeros(n, dtype=bool) if blocked is None else np.asarray(blocked, dtype=bool)
        if flags.shape != (n,):
            raise MoueError(f"{flags.size} flags for what must not be crossed on a mesh of {n} vertices")
        self.surface = surface
        self.blocked = flags
        self._places: dict[int, NDArray[np.int32]] = {}

    def places_of(self, vertices: Indices, ends: NDArray[np.int32]) -> NDArray[np.int32]:
        """Where each of some `ends`, of any shape, stands among `vertices` (k,), -1 where it does not. The time depends
        on what is given, not on the mesh: the table is kept, one a thread, and cleaned where it was written."""
        thread = threading.get_ident()
        table = self._places.get(thread)
        if table is None:
            if len(self._places) >= MOST_TABLES:
                self._places.clear()
            table = self._places[thread] = np.full(self.surface.n_vertices, -1, dtype=np.int32)
        table[vertices] = np.arange(len(vertices), dtype=np.int32)
        found = table[ends]
        table[vertices] = -1
        return found

    @property
    def tree(self) -> cKDTree:
        """The vertices, for windows."""
        return self.surface.derived(Stencils).tree

    @cached_property
    def graph(self) -> sp.csr_matrix:
        """(n, n) length in mm of every edge and every diagonal of a polygon; none leaves a blocked vertex."""
        whole = self.surface.derived(Stencils).graph
        if not self.blocked.any():
            return whole
        count = np.where(self.blocked, 0, np.diff(whole.indptr))
        keep = np.repeat(~self.blocked, np.diff(whole.indptr))
        pointer = np.r_[0, np.cumsum(count)].astype(np.int32)
        return sp.csr_matrix((whole.data[keep], whole.indices[keep], pointer), shape=whole.shape)

    @cached_property
    def updates(self) -> tuple[Indices, NDArray[np.int32], Floats]:
        """`Stencils.updates` without the rows whose edge lies in a blocked line. From a single blocked vertex the
        distance is inf, so that no front starts there.
        """
        pointer, ends, shape = self.surface.derived(Stencils).updates
        if not self.blocked.any():
            return pointer, ends, shape
        shut_a, shut_b = self.blocked[ends[0]], self.blocked[ends[1]]
        keep = ~(shut_a & shut_b)
        shape = shape[:, keep]
        shape[3, shut_a[keep]] = np.inf
        shape[4, shut_b[keep]] = np.inf
        return np.r_[0, np.cumsum(keep)][pointer], ends[:, keep], shape

    def from_point(
        self,
        corners: ArrayLike,
        point: ArrayLike,
        limit_mm: float,
        allowed: Callable[[Indices], NDArray[np.bool_]] | None = None,
    ) -> tuple[Indices, Floats]:
        """Distances from one point (3,) of the polygon with the vertices `corners`, up to `limit_mm`.

        Returns the vertices reached (k,), sorted, and their distances in mm (k,). `allowed` takes vertices (m,) and
        returns (m,) which of them the front may enter; it does not start at corners that are not allowed.
        """
        start = checked_vertices(corners, self.surface.n_vertices, "source")
        centre = np.asarray(point, dtype=np.float64)
        away = np.linalg.norm(self.surface.positions[start] - centre, axis=1)
        window = np.sort(np.array(self.tree.query_ball_point(centre, limit_mm), dtype=np.int64))
        window = np.union1d(window, start)
        if allowed is not None:
            window = window[allowed(window)]
            keep = np.isin(start, window)
            start, away = start[keep], away[keep]
        if len(start) == 0:
            return np.empty(0, dtype=np.int64), np.empty(0)
        graph = _within(self.graph, window)
        return self._march(graph, window, np.searchsorted(window, start), away, limit_mm, ROUND)

    def from_vertices(
        self, vertices: ArrayLike, limit_mm: float = np.inf, heads_mm: ArrayLike | None = None
    ) -> Floats:
        """(n,) distances in mm from the nearest of `vertices` (k,), inf where further than `limit_mm`.

        `heads_mm` (k,) is the distance at which each vertex starts instead of 0, below 0 for a head start: the result
        is the least sum of start and distance. Raises MoueError for a vertex that is not in the mesh.
        """
        start = np.atleast_1d(np.asarray(vertices, dtype=np.int64))
        checked_vertices(start, self.surface.n_vertices, "source")
        heads = np.zeros(len(start)) if heads_mm is None else np.asarray(heads_mm, dtype=np.float64)
        if heads.shape != start.shape or not np.isfinite(heads).all():
            raise MoueError("one finite start is needed for every source vertex")
        order = np.argsort(start, kind="stable")
        start, heads = start[order], heads[order]
        least = float(heads.min())
        every = np.arange(self.surface.n_vertices, dtype=np.int64)
        fronts = self._fronts(start)
        distance = np.full(self.surface.n_vertices, np.inf)
        if len(fronts) > 1:
            joint, origin = _bound_and_origin(self.graph, start, heads - least, DETOUR * (limit_mm - least))
        for members in fronts:
            front = ROUND if len(members) == 1 else STRAIGHT
            first = float(heads[members].min())
            vertices, values, limit = start[members], heads[members] - first, limit_mm - first
            graph, window = self.graph, every
            if len(fronts) > 1:
                window = self._window(vertices, values, first - least, joint, np.isin(origin, vertices), limit)
                graph = _within(self.graph, window)
            reached, far = self._march(graph, window, np.searchsorted(window, vertices), values, limit, front)
            distance[reached] = np.minimum(distance[reached], far + first)
        return distance

    def _fronts(self, start: Indices) -> list[Indices]:
        """The sources `start` (k,), as indices into it, grouped by front. Sources connected along edges and diagonals
        are a curve with one straight front. A single vertex has a round front, and so has each end of a curve. The
        sources beyond MOST_FRONTS share one."""
        among = _within(self.surface.derived(Stencils).graph, np.unique(start))
        place = np.searchsorted(np.unique(start), start)
        count, piece = connected_components(among, directed=False)
        fronts = [np.flatnonzero(piece[place] == one) for one in range(min(count, MOST_FRONTS - 1))]
        if count >= MOST_FRONTS:
            fronts.append(np.flatnonzero(piece[place] >= MOST_FRONTS - 1))
        size = np.bincount(piece)[piece]
        ends = np.flatnonzero(((np.diff(among.indptr) == 1) & (size > 1))[place])
        return fronts + [ends[i : i + 1] for i in range(min(len(ends), MOST_FRONTS))]

    def _window(
        self, vertices: Indices, values: Floats, late: float, joint: Floats, leads: NDArray[np.bool_], limit: float
    ) -> Indices:
        """The vertices that the front from `vertices`, which starts `late`, may be the first to reach: its path over
        edges is at most DETOUR times as long as the shortest one of all fronts, `joint` (n,). `leads` (n,) flags the
        vertices at which its path is the shortest.
        """
        furthest = max(float(joint[leads].max(initial=0.0)) - late, 0.0)  # 0: other fronts arrive first everywhere
        reach = DETOUR * min(limit, furthest) + 2.0 * self.surface.mean_edge_mm
        bound = _bound(self.graph, vertices, values, reach) + late
        near = np.isfinite(bound) & (bound <= DETOUR * joint + 2.0 * self.surface.mean_edge_mm)
        near[vertices] = True
        return np.flatnonzero(near).astype(np.int64)

    def _march(
        self, graph: sp.csr_matrix, window: Indices, start: Indices, values: Floats, limit: float, front: str
    ) -> tuple[Indices, Floats]:
        """March over the vertices `window`, to which `graph` and `start` refer, from `values` >= 0 at `start`."""
        bound = _bound(graph, start, values, DETOUR * limit)
        reached = np.flatnonzero(np.isfinite(bound))
        arrival = bound[reached]
        order = np.argsort(arrival, kind="stable")
        vertices, distance = window[reached[order]], arrival[order]
        if len(vertices) < 2:
            keep = distance <= limit
            return vertices[keep], distance[keep]
        for _ in range(1 if len(vertices) < SMALL else 4):
            before = distance
            distance = _Bands(self, vertices, before).march(front)
            if float(np.max(before - distance)) <= 1e-3 * float(distance[-1]):
                break
            order = np.argsort(distance, kind="stable")
            vertices, distance = vertices[order], distance[order]
        within = distance <= limit
        vertices, distance = vertices[within], distance[within]
        back = np.argsort(vertices)
        return vertices[back], distance[back]


class _Bands:
    """The rows of `Marching.updates` whose three vertices were reached, in the order of their target's arrival."""

    def __init__(self, marching: Marching, vertices: Indices, arrival: Floats) -> None:
        pointer, edge, shape = marching.updates
        count = pointer[vertices + 1] - pointer[vertices]
        rows = np.repeat(pointer[vertices] - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))
        target = np.repeat(np.arange(len(vertices), dtype=np.int32), count)
        ends = marching.places_of(vertices, edge[:, rows])
        late = arrival[target]
        early = np.maximum(arrival[ends[0]], arrival[ends[1]])
        self.step = float(shape[0, rows].mean()) if len(rows) else 0.0
        keep = (ends[0] >= 0) & (ends[1] >= 0) & (early <= late + EARLY * self.step)
        self.arrival = arrival
        self.target = target[keep]
        self.ends = ends[:, keep]
        self.shape = shape[:, rows[keep]]

    def march(self, front: str) -> Floats:
        """Distances (k,) of the reached vertices, in the order of arrival."""
        distance = self.arrival.copy()
        if len(self.target) == 0:
            return distance
        update = _round if front == ROUND else _straight
        edges = np.arange(self.arrival[0], self.arrival[-1] + 2 * self.step, BAND * self.step)
        first = np.searchsorted(self.arrival[self.target], edges)
        groups = np.flatnonzero(np.r_[True, self.target[1:] != self.target[:-1]])
        for begin, end in zip(first[:-1], first[1:], strict=True):
            if begin == end:
                continue
            group_starts = groups[np.searchsorted(groups, begin) : np.searchsorted(groups, end)]
            target, ends = self.target[group_starts], self.ends[:, begin:end]
            length, along, above, from_a, from_b = self.shape[:, begin:end]
            for _ in range(2):
                at_a, at_b = distance[ends[0]], distance[ends[1]]
                reach = np.minimum(at_a + from_a, at_b + from_b)
                np.minimum(reach, update(at_a, at_b, length, along, above), out=reach)
                best = np.minimum.reduceat(reach, group_starts - begin)
                distance[target] = np.minimum(distance[target], best)
        return distance


def _round(at_a: Floats, at_b: Floats, length: Floats, along: Floats, above: Floats) -> Floats:
    """The distance of c from the point below the edge that is `at_a` from a and `at_b` from b; inf where the straight
    line to it does not cross the edge.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        x = (at_a**2 - at_b**2 + length**2) / (2 * length)
        depth = np.sqrt(np.maximum(at_a**2 - x**2, 0.0))
        crossing = x + (along - x) * depth / (depth + above)
        inside = (at_a**2 >= x**2 * (1 - 1e-9)) & (crossing >= -1e-9 * length) & (crossing <= length * (1 + 1e-9))
        return np.where(inside, np.hypot(along - x, above + depth), np.inf)


def _straight(at_a: Floats, at_b: Floats, length: Floats, along: Floats, above: Floats) -> Floats:
    """The distance at c of a straight front with the distances `at_a` at a and `at_b` at b; inf where the front does
    not reach c through the edge.
    """
    slope = np.clip((at_b - at_a) / length, -1.0, 1.0)
    rise = np.sqrt(1.0 - slope**2)
    with np.errstate(invalid="ignore", divide="ignore"):
        crossing = along - above * slope / rise
        inside = (rise > 0) & (crossing >= 0) & (crossing <= length)
        return np.where(inside, at_a + slope * along + above * rise, np.inf)


def _within(graph: sp.csr_matrix, window: Indices) -> sp.csr_matrix:
    """The graph among the sorted vertices `window`; the time depends on the window alone."""
    pointer = graph.indptr
    count = (pointer[window + 1] - pointer[window]).astype(np.int64)
    entries = np.repeat(pointer[window] - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))
    column = graph.indices[entries]
    found = np.minimum(np.searchsorted(window, column), max(len(window) - 1, 0))
    keep = window[found] == column
    rows = np.repeat(np.arange(len(window)), count)[keep]
    starts = np.zeros(len(window) + 1, dtype=np.int32)
    np.cumsum(np.bincount(rows, minlength=len(window)), out=starts[1:])
    m = len(window)
    return sp.csr_matrix((graph.data[entries][keep], found[keep].astype(np.int32), starts), shape=(m, m))


def _bound(graph: sp.csr_matrix, start: Indices, values: Floats, limit: float) -> Floats:
    """(m,) the shortest path over the graph from the start vertices, each with its start value (Dijkstra)."""
    return _dijkstra(graph, start, values, limit)[0]


def _bound_and_origin(
    graph: sp.csr_matrix, start: Indices, values: Floats, limit: float
) -> tuple[Floats, NDArray[np.int64]]:
    """`_bound`, and (m,) the start vertex of that path; -1 where there is none."""
    far, before = _dijkstra(graph, start, values, limit)
    m = len(far)
    origin = np.where(before == m, np.arange(m), before).astype(np.int64)
    origin[before < 0] = -1
    while True:
        further = np.where(origin < 0, -1, origin[np.maximum(origin, 0)])
        if np.array_equal(further, origin):
            return far, origin
        origin = further


def _dijkstra(
    graph: sp.csr_matrix, start: Indices, values: Floats, limit: float
) -> tuple[Floats, NDArray[np.int32]]:
    """(m,) the shortest path from the start vertices, each with its start value, and (m,) the vertex before: m for a
    start vertex, below 0 where none is reached. One added vertex has an edge to every start vertex."""
    m = graph.shape[0]
    order = np.argsort(start, kind="stable")
    data = np.concatenate([graph.data, np.maximum(values[order], 0.0) + 1e-9])
    indices = np.concatenate([graph.indices, start[order].astype(np.int32)])
    pointer = np.append(graph.indptr, graph.indptr[-1] + len(start)).astype(np.int32)
    joined = sp.csr_matrix((data, indices, pointer), shape=(m + 1, m + 1))
    far, before = dijkstra(joined, directed=True, indices=m, limit=limit + 1e-6, return_predecessors=True)
    return np.maximum(far[:m] - 1e-9, 0.0), before[:m]
