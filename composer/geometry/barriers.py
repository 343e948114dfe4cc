"""Lines that no brush crosses, such as the lip line, the lid line or a crease, and the sides of these lines.

A front that does not cross a line can still go round its end: from the upper lip over the corner of the mouth to the
lower lip. So the skin beside a line is labelled by the side it lies on, and a stroke that begins on one side does not
touch the others. Beyond the ends of a line there are no sides.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.csgraph import dijkstra

from composer.errors import MoueError
from composer.geometry.geodesic import checked_vertices
from composer.geometry.marching import Indices, Marching
from composer.geometry.surface import Surface


class Barriers:
    """Curves on a surface that are never crossed."""

    def __init__(self, surface: Surface, curves: Iterable[ArrayLike], reach_mm: float = 12.0) -> None:
        """`curves` are ordered vertex lists (k,), closed where the first vertex is also the last; gaps between
        consecutive vertices are bridged along edges. Sides are labelled up to `reach_mm` from a curve (12 mm is our
        choice).

        Raises MoueError for a vertex that is not in the mesh, or for consecutive ones on different pieces.
        """
        self.surface = surface
        self.reach_mm = float(reach_mm)
        self.curves = tuple(edge_path(surface, curve) for curve in curves)

    @cached_property
    def blocked(self) -> NDArray[np.bool_]:
        """(n,) whether a vertex lies on a curve."""
        flags = np.zeros(self.surface.n_vertices, dtype=bool)
        for curve in self.curves:
            flags[curve] = True
        return flags

    @cached_property
    def marching(self) -> Marching:
        """Distances that never cross a curve."""
        return Marching(self.surface, self.blocked)

    @cached_property
    def sides(self) -> NDArray[np.int32]:
        """(n,) the number of the side of a curve on which each vertex lies, 0 where it lies on none."""
        sides = np.zeros(self.surface.n_vertices, dtype=np.int32)
        seeds, labels = self._beside()
        if len(seeds) == 0:
            return sides
        ends = np.array(sorted({int(v) for c in self.curves if c[0] != c[-1] for v in (c[0], c[-1])}), dtype=np.int64)
        shut = self.blocked.copy()
        shut[ends] = False
        start = np.concatenate([seeds, ends])
        label = np.concatenate([labels, np.zeros(len(ends), dtype=np.int32)])
        graph = Marching(self.surface, shut).graph
        far, _, source = dijkstra(
            graph, indices=start, min_only=True, limit=self.reach_mm, return_predecessors=True
        )
        label_of = np.zeros(self.surface.n_vertices, dtype=np.int32)
        label_of[start] = label
        reached = np.isfinite(far) & ~self.blocked
        sides[reached] = label_of[source[reached]]
        return sides

    def _beside(self) -> tuple[Indices, NDArray[np.int32]]:
        """The vertices beside the curves and the side of each; a vertex on two sides is left out."""
        polygons = self.surface.polygons
        n = self.surface.n_vertices
        start = polygons.indices.astype(np.int64)
        key = start * n + start[polygons.next_corner]
        order = np.argsort(key)
        label = np.zeros(n, dtype=np.int64)
        for number, curve in enumerate(self.curves):
            for side, (a, b) in enumerate(((curve[:-1], curve[1:]), (curve[1:], curve[:-1])), start=1):
                wanted = a * n + b
                at = np.minimum(np.searchsorted(key, wanted, sorter=order), max(len(key) - 1, 0))
                hit = order[at][key[order[at]] == wanted]
                faces = np.unique(polygons.corner_face[hit])
                for vertex in {int(v) for face in faces for v in polygons.face(int(face))}:
                    side_label = 2 * number + side
                    label[vertex] = side_label if label[vertex] in (0, side_label) else -1
        seeds = np.flatnonzero((label > 0) & ~self.blocked)
        return seeds.astype(np.int64), label[seeds].astype(np.int32)


def edge_path(surface: Surface, vertices: ArrayLike) -> Indices:
    """(m,) the vertices of a path along edges through `vertices` (k,) in order. Neighbours are joined directly, others
    by the shortest path over edges.

    Raises MoueError for fewer than two vertices, for one that is not in the mesh, and where no path joins them.
    """
    stops = np.asarray(vertices, dtype=np.int64).ravel()
    if len(stops) < 2:
        raise MoueError("a curve needs at least two vertices")
    checked_vertices(stops, surface.n_vertices, "curve")
    n = surface.n_vertices
    edges = surface.polygons.edges.astype(np.int64)
    known = edges[:, 0] * n + edges[:, 1]
    low, high = np.minimum(stops[:-1], stops[1:]), np.maximum(stops[:-1], stops[1:])
    at = np.minimum(np.searchsorted(known, low * n + high), len(known) - 1)
    joined = (known[at] == low * n + high) | (low == high)
    if joined.all():
        return stops[np.r_[True, stops[1:] != stops[:-1]]]
    length = np.concatenate([surface.edge_lengths, surface.edge_lengths])
    ends = np.concatenate([edges, edges[:, ::-1]])
    graph = sp.csr_matrix((np.maximum(length, 1e-12), (ends[:, 0], ends[:, 1])), shape=(n, n))
    visited = [int(stops[0])]
    for a, b, known_edge in zip(stops[:-1], stops[1:], joined, strict=True):
        visited += [int(b)] if known_edge else _bridge(graph, int(a), int(b))
    path = np.array(visited, dtype=np.int64)
    return path[np.r_[True, path[1:] != path[:-1]]]


def _bridge(graph: sp.csr_matrix, a: int, b: int) -> list[int]:
    """The vertices of the shortest path from `a` (left out) to `b`. Raises MoueError where there is none."""
    distance, before = dijkstra(graph, indices=a, return_predecessors=True)
    if not np.isfinite(distance[b]):
        raise MoueError(f"no path along the surface leads from vertex {a} to vertex {b} of a curve")
    path = [b]
    while before[path[-1]] != a:
        path.append(int(before[path[-1]]))
    return path[::-1]
