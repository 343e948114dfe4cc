"""Texture coordinates of finer levels: linear inside each polygon, every seam kept.

The islands of the texture are polygons of their own over the coordinates, and are subdivided as the head's are, with
plain means in place of the rules: so their edges are known at every level without sorting.
"""

from __future__ import annotations

import numpy as np

from composer.geometry.polygons import Polygons, read_only
from composer.head.catmull_clark import face_means, finer_polygons
from composer.head.head import TextureCoordinates


def finer_uv(polygons: Polygons, coordinates: TextureCoordinates, k: int) -> TextureCoordinates:
    """The texture coordinates of the corners of `polygons`, subdivided `k` times with them: the coordinates, then the
    middles of the islands' edges, then the means of their polygons, level by level.

    A polygon with a corner that has no coordinates gives quads without any.
    """
    index, uv = coordinates.indices, coordinates.uv
    whole = np.logical_and.reduceat(index >= 0, polygons.starts[:-1]) if polygons.n_faces else np.zeros(0, dtype=bool)
    placed = whole[polygons.corner_face]
    islands = Polygons(polygons.counts[whole], index[placed], len(uv))
    for _ in range(k):
        edges = islands.edges
        middles = (uv[edges[:, 0]] + uv[edges[:, 1]]) / 2.0 if len(edges) else np.zeros((0, 2))
        uv = np.concatenate([uv, middles, face_means(islands) @ uv])
        islands, placed = finer_polygons(islands), np.repeat(placed, 4)
    if placed.all():
        return TextureCoordinates(read_only(uv), islands.indices)
    corners = np.full(len(placed), -1, dtype=np.int32)
    corners[placed] = islands.indices
    return TextureCoordinates(read_only(uv), read_only(corners))
