"""A part of some polygons, over fewer vertices or over the same."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons


def part_of(polygons: Polygons, vertices: NDArray) -> Polygons:
    """The polygons whose vertices are all among `vertices` (m,), numbered by their places there. Where the edges of the
    whole are known and the vertices ascend, those of the part are read off them: sorting anew takes far longer."""
    rank = np.full(polygons.n_vertices, -1, dtype=np.int64)
    rank[vertices] = np.arange(len(vertices))
    new = rank[polygons.indices]
    within = np.logical_and.reduceat(new >= 0, polygons.starts[:-1]) if polygons.n_faces else np.zeros(0, dtype=bool)
    kept = within[polygons.corner_face]
    known = None
    if polygons.knows_edges and (np.diff(vertices) > 0).all():
        known = _edges_of(polygons, kept, rank)
    return Polygons(polygons.counts[within], new[kept].astype(np.int32), len(vertices), known)


def _edges_of(
    polygons: Polygons, kept: NDArray[np.bool_], rank: NDArray[np.int64]
) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """The edges (e, 2) of the polygons whose corners are `kept` (k,), and the edge of each of these corners; `rank`
    (n,) numbers the vertices anew, in the same order."""
    of_corner = polygons.corner_edge[kept]
    used = np.zeros(len(polygons.edges), dtype=bool)
    used[of_corner] = True
    number = np.cumsum(used) - 1
    return rank[polygons.edges[used]].astype(np.int32), number[of_corner]


def chosen_polygons(polygons: Polygons, faces: NDArray[np.bool_]) -> Polygons:
    """The flagged polygons (f,) over the same vertices."""
    return Polygons(polygons.counts[faces], polygons.indices[faces[polygons.corner_face]], polygons.n_vertices)


def whole_polygons(polygons: Polygons, vertices: NDArray[np.bool_]) -> Polygons:
    """The polygons all of whose corners are flagged in `vertices` (n,), over the same vertices."""
    return chosen_polygons(polygons, np.logical_and.reduceat(vertices[polygons.indices], polygons.starts[:-1]))
