"""Bad faces: polygons that are turned over or folded, though they are not on a reference.

Each corner of a polygon makes a triangle with both its neighbours. The reference has the same polygons; it is the
library's own neutral, in any pose and size.

- A corner is *reversed* where its triangle faces against its polygon's vector area, and does not on the reference.
- An edge is *folded* where the two polygons beside it meet at less than `FOLD_DEG`, and do not on the reference.

A polygon is bad where one of its corners is reversed or one of its edges folded.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.geometry.vectors import cross, unit_rows

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]
FOLD_DEG = 40.0
"""Angle between two polygons, in degrees (180 is flat), below which their edge is folded (our choice)."""
_FOLD = -np.cos(np.radians(FOLD_DEG))


class Loops:
    """The tables of some polygons that find bad faces at any positions, and the reference's own faults.

    `corners` (k, 3) gives for each corner the vertex before it, its own and the one after it; `beside` (e, 2) the two
    polygons at each inner edge, and `edge` (e,) the number of that edge.
    """

    def __init__(self, polygons: Polygons, reference: Rows) -> None:
        """Take polygons and reference positions (n, 3)."""
        self.polygons = polygons
        corner = np.arange(len(polygons.indices))
        before = np.empty_like(corner)
        before[polygons.next_corner] = corner
        self.corners = np.stack(
            [polygons.indices[before], polygons.indices, polygons.indices[polygons.next_corner]], axis=1
        )
        order = np.argsort(polygons.corner_edge, kind="stable")
        edge = polygons.corner_edge[order]
        pair = np.flatnonzero(edge[1:] == edge[:-1])
        pair = pair[polygons.edge_use[edge[pair]] == 2]
        self.beside = polygons.corner_face[np.stack([order[pair], order[pair + 1]], axis=1)]
        self.edge = edge[pair]
        self._reference_faults = (np.zeros(len(corner), bool), np.zeros(len(self.beside), bool))
        self._reference_faults = self.faults(reference)

    def _areas(self, positions: Rows) -> Rows:
        triangles, faces = self.polygons.triangles, self.polygons.triangle_face
        a, b, c = (positions[triangles[:, i]] for i in range(3))
        areas = cross(b - a, c - a)
        return np.stack([np.bincount(faces, areas[:, i], self.polygons.n_faces) for i in range(3)], axis=1)

    def normals(self, positions: Rows) -> Rows:
        """(f, 3) the unit vector areas of the polygons at `positions` (n, 3)."""
        return unit_rows(self._areas(positions))

    def faults(self, positions: Rows) -> tuple[Flags, Flags]:
        """At `positions` (n, 3), which corners (k,) are reversed, and which inner edges (e,) folded."""
        normals = self.normals(positions)
        a, b, c = (positions[self.corners[:, i]] for i in range(3))
        facing = np.einsum("ij,ij->i", cross(b - a, c - b), normals[self.polygons.corner_face])
        cosine = np.einsum("ij,ij->i", normals[self.beside[:, 0]], normals[self.beside[:, 1]])
        return (facing < 0) & ~self._reference_faults[0], (cosine < _FOLD) & ~self._reference_faults[1]

    def bad(self, positions: Rows) -> Flags:
        """(f,) the polygons that are bad at `positions` (n, 3)."""
        reversed_, folded = self.faults(positions)
        flags = np.zeros(self.polygons.n_faces, dtype=bool)
        flags[self.polygons.corner_face[reversed_]] = True
        flags[self.beside[folded].ravel()] = True
        return flags

    def bad_about(self, positions: Rows, moved: Flags) -> int:
        """How many of the polygons that hold a vertex flagged in `moved` (n,), or lie beside such a one, are bad at
        `positions` (n, 3); as `bad`, without a look at the others."""
        face, beside = self.polygons.corner_face, self.beside
        touched = np.zeros(self.polygons.n_faces, dtype=bool)
        touched[face[moved[self.polygons.indices]]] = True
        corner = np.flatnonzero(touched[face])
        edge = np.flatnonzero(touched[beside[:, 0]] | touched[beside[:, 1]])
        needed = touched.copy()
        needed[beside[edge].ravel()] = True
        normals = self._normals_of(positions, needed)
        a, b, c = (positions[self.corners[corner, i]] for i in range(3))
        facing = np.einsum("ij,ij->i", cross(b - a, c - b), normals[face[corner]])
        cosine = np.einsum("ij,ij->i", normals[beside[edge, 0]], normals[beside[edge, 1]])
        wrong = np.zeros(self.polygons.n_faces, dtype=bool)
        wrong[face[corner[(facing < 0) & ~self._reference_faults[0][corner]]]] = True
        wrong[beside[edge[(cosine < _FOLD) & ~self._reference_faults[1][edge]]].ravel()] = True
        return int(wrong.sum())

    def _normals_of(self, positions: Rows, faces: Flags) -> Rows:
        """(f, 3) the unit vector areas of the flagged polygons (f,), zero for the others."""
        chosen = np.flatnonzero(faces[self.polygons.triangle_face])
        triangles, owner = self.polygons.triangles[chosen], self.polygons.triangle_face[chosen]
        a, b, c = (positions[triangles[:, i]] for i in range(3))
        areas = cross(b - a, c - a)
        return unit_rows(np.stack([np.bincount(owner, areas[:, i], self.polygons.n_faces) for i in range(3)], axis=1))

    def counts(self, positions: Rows) -> tuple[int, int]:
        """How many polygons have a reversed corner, and how many have a folded edge."""
        reversed_, folded = self.faults(positions)
        return (
            len(np.unique(self.polygons.corner_face[reversed_])), len(np.unique(self.beside[folded].ravel()))
        )  # fmt: skip

    def vertices_of(self, faces: Flags) -> Flags:
        """(n,) the vertices of flagged polygons (f,)."""
        flags = np.zeros(self.polygons.n_vertices, dtype=bool)
        flags[self.polygons.indices[faces[self.polygons.corner_face]]] = True
        return flags

    def grown(self, vertices: Flags, rings: int = 1) -> Flags:
        """(n,) flagged vertices (n,) and those that share a polygon with them, `rings` times over."""
        for _ in range(rings):
            corner = vertices[self.polygons.indices]
            hit = np.zeros(self.polygons.n_faces, dtype=bool)
            hit[self.polygons.corner_face[corner]] = True
            vertices = vertices | self.vertices_of(hit)
        return vertices
