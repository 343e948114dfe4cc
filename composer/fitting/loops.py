"""Bad faces: polygons that are turned over or folded, though they are not on a reference.

Each corner of a polygon makes a triangle with both its neighbours. The reference has the same polygons; it is the
library's own neutral, in any pose and size.

- A corner is *reversed* where its triangle faces against its polygon's vector area, and does not on the reference.
- An edge is *folded* where the two polygons beside it meet at less than `FOLD_DEG`, and do not on the reference.

A polygon is bad where one of its corners is reversed or one of its edges folded.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.geometry.vectors import unit_rows

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]
FOLD_DEG = 40.0
"""Angle between two polygons, in degrees (180 is flat), below which their edge is folded (our choice)."""
AT_ONCE = 8192
"""Polygons that are measured at once, so that their arrays stay in the processor's cache (our choice)."""
FEW_RINGS, FEW_OF = 3, 50
"""From so many rings on, about fewer than one in so many vertices, a flag grows by its front alone (our choice)."""
_FOLD = -np.cos(np.radians(FOLD_DEG))


class Loops:
    """The tables of some polygons that find bad faces at any positions, and the reference's own faults.

    `beside` (e, 2) gives the two polygons at each inner edge, and `edge` (e,) the number of that edge; `reference`
    (n, 3) are the positions that it was given.
    """

    def __init__(self, polygons: Polygons, reference: Rows) -> None:
        """Take polygons and reference positions (n, 3)."""
        self.polygons, self.reference = polygons, reference
        use = polygons.corner_edge
        first, last = (np.zeros(len(polygons.edges), dtype=np.int64) for _ in range(2))
        corner = np.arange(len(use))
        first[use[::-1]], last[use] = corner[::-1], corner
        self.edge = np.flatnonzero(polygons.edge_use == 2)
        self.beside = polygons.corner_face[np.stack([first[self.edge], last[self.edge]], axis=1)]

    @cached_property
    def corners(self) -> NDArray[np.int64]:
        """(k, 3) for each corner the vertex before it, its own and the one after it."""
        polygons = self.polygons
        before = np.empty(len(polygons.indices), dtype=np.int64)
        before[polygons.next_corner] = np.arange(len(before))
        return np.stack([polygons.indices[before], polygons.indices, polygons.indices[polygons.next_corner]], axis=1)

    @cached_property
    def _sizes(self) -> list[tuple[int, NDArray, NDArray]]:
        """Each number of corners, with the first corners (m,) of the polygons that have it, and the polygons (m,)."""
        counts = self.polygons.counts
        by_size = [(int(size), np.flatnonzero(counts == size)) for size in np.unique(counts)]
        return [(size, self.polygons.starts[faces], faces) for size, faces in by_size]

    def _measured(self, positions: Rows, chosen: Flags | None = None) -> tuple[Rows, Flags]:
        """(f, 3) the polygons' vector areas, twice, and (k,) whether the triangle of a corner faces against its own;
        zero and False for polygons that are not `chosen` (f,)."""
        polygons = self.polygons
        columns = np.ascontiguousarray(np.asarray(positions, dtype=np.float64).T)
        areas, reversed_ = np.zeros((polygons.n_faces, 3)), np.zeros(len(polygons.indices), dtype=bool)
        for size, starts, faces in self._sizes:
            if chosen is not None:
                starts, faces = starts[chosen[faces]], faces[chosen[faces]]
            for begin in range(0, len(faces), AT_ONCE):
                corner = starts[begin : begin + AT_ONCE] + np.arange(size)[:, None]
                vertex = polygons.indices[corner]
                at = [column[vertex] for column in columns]
                side = [np.concatenate([x[1:] - x[:-1], x[:1] - x[-1:]]) for x in at]
                turns = _products([np.concatenate([x[-1:], x[:-1]]) for x in side], side)
                area = _area(at, size)
                areas[faces[begin : begin + AT_ONCE]] = np.stack(area, axis=1)
                reversed_[corner] = turns[0] * area[0] + turns[1] * area[1] + turns[2] * area[2] < 0.0
        return areas, reversed_

    def _raw(self, positions: Rows) -> tuple[Flags, Flags]:
        """As `faults`, with the reference's own."""
        areas, reversed_ = self._measured(positions)
        return reversed_, self._folded(areas, self.beside)

    @staticmethod
    def _folded(areas: Rows, beside: NDArray) -> Flags:
        """(e,) whether the polygons at each of some edges (e, 2) meet at less than FOLD_DEG; `areas` (f, 3) are theirs.
        """
        folded = np.zeros(len(beside), dtype=bool)
        for begin in range(0, len(beside), AT_ONCE):
            one, other = (areas[beside[begin : begin + AT_ONCE, side]] for side in (0, 1))
            size = np.sqrt(np.einsum("ij,ij->i", one, one) * np.einsum("ij,ij->i", other, other))
            folded[begin : begin + AT_ONCE] = np.einsum("ij,ij->i", one, other) < _FOLD * size
        return folded

    def normals(self, positions: Rows) -> Rows:
        """(f, 3) the unit vector areas of the polygons at `positions` (n, 3)."""
        return unit_rows(self._measured(positions)[0])

    def faults(self, positions: Rows) -> tuple[Flags, Flags]:
        """At `positions` (n, 3), which corners (k,) are reversed, and which inner edges (e,) folded."""
        reversed_, folded = self._raw(positions)
        corner, edge = self._beside_rest(np.flatnonzero(reversed_), np.flatnonzero(folded))
        reversed_[:], folded[:] = False, False
        reversed_[corner], folded[edge] = True, True
        return reversed_, folded

    def _beside_rest(self, corner: NDArray, edge: NDArray) -> tuple[NDArray, NDArray]:
        """Those of reversed corners (c,) and folded edges (d,) that are not so on the reference: only their polygons
        are measured there."""
        if not len(corner) and not len(edge):
            return corner, edge
        chosen = np.zeros(self.polygons.n_faces, dtype=bool)
        chosen[self.polygons.corner_face[corner]] = True
        chosen[self.beside[edge].ravel()] = True
        areas, reversed_ = self._measured(self.reference, chosen)
        return corner[~reversed_[corner]], edge[~self._folded(areas, self.beside[edge])]

    def bad(self, positions: Rows) -> Flags:
        """(f,) the polygons that are bad at `positions` (n, 3)."""
        return self._polygons_of(*self.faults(positions))

    def newly_bad(self, bad: Flags, positions: Rows, before: Rows) -> Flags:
        """(f,) those of the polygons that are `bad` (f,) at `positions` (n, 3) that have a fault there which they have
        not at `before` (n, 3)."""
        corner, edge = self._about(bad)
        if not len(corner):
            return bad
        now, was = (self._faults_among(places, bad, corner, edge) for places in (positions, before))
        return bad & self._polygons_among(corner[now[0] & ~was[0]], edge[now[1] & ~was[1]])

    def _about(self, chosen: Flags) -> tuple[NDArray, NDArray]:
        """The corners of the polygons flagged in `chosen` (f,), and the inner edges beside them."""
        beside = self.beside
        return np.flatnonzero(chosen[self.polygons.corner_face]), np.flatnonzero(
            chosen[beside[:, 0]] | chosen[beside[:, 1]]
        )

    def _faults_among(self, positions: Rows, chosen: Flags, corner: NDArray, edge: NDArray) -> tuple[Flags, Flags]:
        """Which of the corners (c,) and edges (d,) about the polygons flagged in `chosen` (f,) are reversed and folded
        at `positions` (n, 3), the reference's own too."""
        needed = chosen.copy()
        needed[self.beside[edge].ravel()] = True
        areas, reversed_ = self._measured(positions, needed)
        return reversed_[corner], self._folded(areas, self.beside[edge])

    def _polygons_of(self, reversed_: Flags, folded: Flags) -> Flags:
        """(f,) the polygons of reversed corners (k,) and folded edges (e,)."""
        return self._polygons_among(np.flatnonzero(reversed_), np.flatnonzero(folded))

    def _polygons_among(self, corner: NDArray, edge: NDArray) -> Flags:
        """The same of numbers of corners (c,) and of edges (d,)."""
        flags = np.zeros(self.polygons.n_faces, dtype=bool)
        flags[self.polygons.corner_face[corner]] = True
        flags[self.beside[edge].ravel()] = True
        return flags

    def bad_about(self, positions: Rows, moved: Flags) -> int:
        """How many of the polygons that hold a vertex flagged in `moved` (n,), or lie beside such a one, are bad at
        `positions` (n, 3); as `bad`, without a look at the others."""
        touched = np.zeros(self.polygons.n_faces, dtype=bool)
        touched[self.polygons.corner_face[moved[self.polygons.indices]]] = True
        return int(self._bad_among(positions, touched).sum())

    def bad_again(self, positions: Rows, moved: Flags, known: Flags) -> Flags:
        """(f,) as `bad` at `positions` (n, 3), where `known` (f,) was bad before the vertices flagged in `moved` (n,)
        moved: only their polygons, and those beside these, are looked at."""
        face, beside = self.polygons.corner_face, self.beside
        touched = np.zeros(self.polygons.n_faces, dtype=bool)
        touched[face[moved[self.polygons.indices]]] = True
        anew = touched.copy()
        anew[beside[touched[beside].any(axis=1)].ravel()] = True
        return np.where(anew, self._bad_among(positions, anew), known)

    def _bad_among(self, positions: Rows, chosen: Flags) -> Flags:
        """(f,) the bad polygons among those flagged in `chosen` (f,), and beside these where they fold against one."""
        corner, edge = self._about(chosen)
        reversed_, folded = self._faults_among(positions, chosen, corner, edge)
        return self._polygons_among(*self._beside_rest(corner[reversed_], edge[folded]))

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

    @cached_property
    def _holders(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """(n + 1,) where each vertex's polygons begin, and the polygons, vertex after vertex."""
        flat = self.polygons.indices
        starts = np.concatenate([[0], np.cumsum(np.bincount(flat, minlength=self.polygons.n_vertices))])
        return starts, self.polygons.corner_face[np.argsort(flat, kind="stable")].astype(np.int64)

    def grown(self, vertices: Flags, rings: int = 1) -> Flags:
        """(n,) flagged vertices (n,) and those that share a polygon with them, `rings` times over."""
        grown, front = np.array(vertices), np.flatnonzero(vertices)
        known = "_holders" in self.__dict__
        if (rings < FEW_RINGS and not known) or FEW_OF * len(front) > len(grown):
            for _ in range(rings):
                hit = np.zeros(self.polygons.n_faces, dtype=bool)
                hit[self.polygons.corner_face[grown[self.polygons.indices]]] = True
                grown |= self.vertices_of(hit)
            return grown
        (starts, holders), polygons = self._holders, self.polygons
        seen = np.zeros(polygons.n_faces, dtype=bool)
        for _ in range(rings):
            faces = holders[_ranges(starts[front], starts[front + 1])]
            faces = np.unique(faces[~seen[faces]])
            seen[faces] = True
            reached = polygons.indices[_ranges(polygons.starts[faces], polygons.starts[faces + 1])]
            front = np.unique(reached[~grown[reached]]).astype(np.int64)
            grown[front] = True
        return grown


def _ranges(starts: NDArray, ends: NDArray) -> NDArray[np.int64]:
    """The whole numbers from each start (k,) up to its end (k,), one range after the other."""
    count = ends - starts
    return np.repeat(starts - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))


def _products(one: list[Rows], other: list[Rows]) -> list[Rows]:
    """The three columns of the cross products of vectors that are given by columns."""
    (x, y, z), (u, v, w) = one, other
    return [y * w - z * v, z * u - x * w, x * v - y * u]


def _area(at: list[Rows], size: int) -> list[Rows]:
    """The three columns (m,) of twice the vector areas of polygons; `at` are the columns (size, m) of their corners."""
    if size == 4:
        return _products([x[2] - x[0] for x in at], [x[3] - x[1] for x in at])
    total = [np.zeros(x.shape[1]) for x in at]
    for i in range(1, size - 1):
        part = _products([x[i] - x[0] for x in at], [x[i + 1] - x[0] for x in at])
        total = [one + more for one, more in zip(total, part, strict=True)]
    return total
