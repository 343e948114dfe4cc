"""A part of some polygons, over fewer vertices or over the same."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons


def part_of(polygons: Polygons, vertices: NDArray) -> Polygons:
    """The polygons whose vertices are all among `vertices` (m,), numbered by their places there."""
    rank = np.full(polygons.n_vertices, -1, dtype=np.int64)
    rank[vertices] = np.arange(len(vertices))
    new = rank[polygons.indices]
    within = np.logical_and.reduceat(new >= 0, polygons.starts[:-1]) if polygons.n_faces else np.zeros(0, dtype=bool)
    return Polygons(polygons.counts[within], new[within[polygons.corner_face]].astype(np.int32), len(vertices))


def chosen_polygons(polygons: Polygons, faces: NDArray[np.bool_]) -> Polygons:
    """The flagged polygons (f,) over the same vertices."""
    return Polygons(polygons.counts[faces], polygons.indices[faces[polygons.corner_face]], polygons.n_vertices)


def whole_polygons(polygons: Polygons, vertices: NDArray[np.bool_]) -> Polygons:
    """The polygons all of whose corners are flagged in `vertices` (n,), over the same vertices."""
    return chosen_polygons(polygons, np.logical_and.reduceat(vertices[polygons.indices], polygons.starts[:-1]))
