"""The skin as a pull measures it: lengths of edges and areas of faces at rest, cut to the vertices that can move."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.geometry.vectors import cosine, cross
from composer.head.head import Head

Floats = NDArray[np.float64]
SHORTEST_MM = 1e-6
"""Edges below this length at rest have no strain; a safety limit."""
TURNED = 0.005
"""The cosine between a face and itself at rest below which it counts as turned over: 0 is on edge, and the rest is
for weights, which are rounded. A design choice, no source."""


@dataclass(frozen=True, eq=False)
class Patch:
    """Vertices `vertices` (m,) of a head, sorted: those that can move, and the skin one face away. With them all skin
    edges and faces that touch what moves.

    `positions` (m, 3) mm are at rest. `edges` (e, 2) and `corners` (f, c) count in `vertices`; faces with fewer than c
    corners repeat their last one. `length` (e,) mm at rest; `edge_area` (e,) and `area` (m,) mm^2, the skin's area
    shared among edges and vertices; `rest` (f, 3) mm^2, the vector areas of faces at rest.
    """

    vertices: NDArray[np.int64]
    positions: Floats
    edges: NDArray[np.int64]
    length: Floats
    edge_area: Floats
    area: Floats
    corners: NDArray[np.int64]
    rest: Floats

    @cached_property
    def columns(self) -> list[NDArray[np.int64]]:
        """c arrays (f,): the first corner of every face, the second, and so on."""
        return list(np.ascontiguousarray(self.corners.T))

    def way(self, places: NDArray) -> Floats:
        """(e, 3) every edge as a vector in a field or a pose (m, 3)."""
        return np.asarray(np.take(places, self.edges[:, 1], axis=0) - np.take(places, self.edges[:, 0], axis=0))

    def turn(self, places: NDArray, faces: NDArray[np.int64] | None = None) -> Floats:
        """(k,) the cosine between each of the faces, by default of all, at positions (m, 3) mm and itself at rest."""
        chosen = slice(None) if faces is None else faces
        return cosine(self.rest[chosen], vector_areas(places, self.corners[chosen]))

    def height(self, places: NDArray) -> Floats:
        """(f,) mm, the area of each face at positions (m, 3) mm over its longest side or diagonal: no face turns over
        while its corners move by less, against each other."""
        first = places[self.corners[:, 0]]
        long = np.zeros(len(self.corners))
        for i in range(1, self.corners.shape[1]):
            way = places[self.corners[:, i]] - first
            np.maximum(long, np.einsum("ij,ij->i", way, way), out=long)
        area = np.linalg.norm(vector_areas(places, self.corners), axis=1)
        return area / np.sqrt(np.maximum(long, SHORTEST_MM**2))


def vector_areas(places: NDArray, corners: NDArray[np.int64]) -> Floats:
    """(f, 3) mm^2, the vector areas of faces `corners` (f, c) at positions (m, 3) mm; repeated corners add nothing."""
    first = places[corners[:, 0]]
    if corners.shape[1] == 4:
        return 0.5 * cross(places[corners[:, 2]] - first, places[corners[:, 3]] - places[corners[:, 1]])
    before = places[corners[:, 1]] - first
    total = np.zeros((len(corners), 3))
    for i in range(2, corners.shape[1]):
        after = places[corners[:, i]] - first
        total += cross(before, after)
        before = after
    return 0.5 * total


class PullSkin:
    """The skin of one head, prepared once."""

    def __init__(self, surface: Surface, skin: NDArray[np.bool_]) -> None:
        """`skin` (n,) flags the vertices that are not parts."""
        polygons = surface.polygons
        self.surface, self.skin = surface, skin
        self._moved: dict[str, tuple[NDArray, NDArray[np.bool_]]] = {}
        edges = polygons.edges
        kept = skin[edges].all(axis=1) & (surface.edge_lengths > SHORTEST_MM)
        self.edges = edges[kept].astype(np.int64)
        self.length = surface.edge_lengths[kept]
        self.area = np.where(skin, surface.vertex_areas, 0.0)
        degree = np.maximum(np.bincount(self.edges.ravel(), minlength=len(skin)), 1)
        self.edge_area = (self.area / degree)[self.edges].sum(axis=1)
        faces = np.flatnonzero(np.logical_and.reduceat(skin[polygons.indices], polygons.starts[:-1]))
        self.corners = _padded(polygons, faces)

    def moved_by(self, name: str, field: NDArray) -> NDArray[np.bool_]:
        """(n,) where a field (n, 3) of this name is not zero; found once as long as the field is the same array."""
        known = self._moved.get(name)
        if known is None or known[0] is not field:
            known = (field, np.asarray(field.any(axis=1)))
            self._moved[name] = known
        return known[1]

    def patch(self, moves: NDArray[np.bool_]) -> Patch:
        """The patch of the flagged vertices (n,)."""
        touched = moves[self.corners].any(axis=1)
        edge = moves[self.edges].any(axis=1)
        inside = np.zeros(len(moves), dtype=bool)
        inside[self.corners[touched].ravel()] = True
        inside[self.edges[edge].ravel()] = True
        inside |= moves
        vertices = np.flatnonzero(inside)
        place = np.full(len(moves), -1, dtype=np.int64)
        place[vertices] = np.arange(len(vertices))
        corners, positions = place[self.corners[touched]], self.surface.positions[vertices]
        return Patch(
            vertices, positions, place[self.edges[edge]], self.length[edge], self.edge_area[edge], self.area[vertices],
            corners, vector_areas(positions, corners),
        )  # fmt: skip


def pull_skin(head: Head) -> PullSkin:
    """The skin of a head, kept with its surface as long as the parts stay the same."""
    kept: list[PullSkin] = vars(head.surface).setdefault("pull_skin", [])
    if not kept or not np.array_equal(kept[0].skin, head.skin):
        kept[:] = [PullSkin(head.surface, head.skin)]
    return kept[0]


def _padded(polygons: Polygons, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """(f, c) the corners of polygons, each padded with its last one to the largest count."""
    counts = polygons.counts[faces].astype(np.int64)
    wide = int(counts.max(initial=3))
    at = polygons.starts[faces][:, None] + np.minimum(np.arange(wide), counts[:, None] - 1)
    return polygons.indices[at].astype(np.int64)
