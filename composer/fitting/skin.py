"""The skin of a head as a mesh of its own, without eyes, teeth and other parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Pairs
from composer.geometry.polygons import Polygons
from composer.head.head import Head

Rows = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Skin:
    """The skin's `vertices` (s,) as numbers of the head, its `polygons` over these s vertices, and `rank` (n,): the
    number of each head vertex in the skin, -1 for parts and loose vertices."""

    vertices: NDArray[np.int64]
    polygons: Polygons
    rank: NDArray[np.int64]

    @classmethod
    def of(cls, head: Head) -> Skin:
        """The polygons of `head` all of whose vertices are skin."""
        polygons = head.polygons
        on_skin = np.logical_and.reduceat(head.skin[polygons.indices], polygons.starts[:-1])
        corners = polygons.indices[on_skin[polygons.corner_face]]
        vertices = np.unique(corners).astype(np.int64)
        rank = np.full(head.n_vertices, -1, dtype=np.int64)
        rank[vertices] = np.arange(len(vertices))
        return cls(vertices, Polygons(polygons.counts[on_skin], rank[corners], len(vertices)), rank)


def skin_marks(skin: Skin, pairs: Pairs) -> tuple[NDArray[np.int64], Rows]:
    """The landmarks that are skin vertices, as numbers of the skin (m,), and their places (m, 3) on the sculpt."""
    known = np.flatnonzero(pairs.vertices >= 0)
    known = known[skin.rank[pairs.vertices[known]] >= 0]
    return skin.rank[pairs.vertices[known]], pairs.sculpt[known]
