"""Smooth normals of a pose, again only where it changed: the polygons' vector areas summed about every vertex.

As `composer.geometry.surface.Surface.vertex_normals`, in float32 and fast enough for a drag: a vertex's sum depends
only on the polygons about it, so what changed are the touched vertices and one ring more, and both ways give the same
bits. A head that only stands there does without the tables of that: making them takes many times as long as one sum.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Head

Floats32 = NDArray[np.float32]
Indices = NDArray[np.int64]
Diagonals = tuple[Indices, Indices, Indices, Indices]
KEPT = 64  # plans of ranges; a drag asks for the same ones again and again
_WIDE = 0.5  # a range whose ring holds more of the vertices than this is done as a whole


@dataclass(frozen=True, eq=False)
class _Plan:
    """Polygons' diagonals as pairs of vertices, and the sums of their cross products that make up `vertices`."""

    diagonals: Diagonals
    sums: sp.csr_matrix
    vertices: Indices | None

    def normals(self, positions: Floats32) -> Floats32:
        """(k, 3) unit normals of `vertices`."""
        return _unit(self.sums @ _areas(self.diagonals, positions))


class Normals:
    """Normals of the poses of one head. Of one that `stands` still the tables for what moves are made only when
    something does."""

    def __init__(self, head: Head, stands: bool = False) -> None:
        self._polygons = head.polygons
        self.n_vertices = head.n_vertices
        self._whole: _Plan | None = None
        if not stands:
            self._prepared()

    def _prepared(self) -> _Plan:
        """The tables, and the plan of the whole."""
        if self._whole is not None:
            return self._whole
        polygons = self._polygons
        corners, owner = _crosses(polygons)
        ones = np.ones(len(polygons.indices), dtype=np.float32)
        about = sp.csr_matrix(
            (ones, (polygons.indices, polygons.corner_face)), shape=(self.n_vertices, polygons.n_faces)
        )
        of_face = sp.csr_matrix(
            (np.ones(len(owner), dtype=np.float32), (owner, np.arange(len(owner)))), (polygons.n_faces, len(owner))
        )
        self._about = (about @ of_face).tocsr()
        self._about.sort_indices()
        self._faces = about
        self._starts, self._corners = polygons.starts, polygons.indices
        self._diagonals = corners
        self._plans: OrderedDict[tuple[int, int], _Plan] = OrderedDict()
        self._whole = _Plan(corners, self._about, None)
        return self._whole

    def all(self, positions: Floats32) -> Floats32:
        """(n, 3) unit normals of a pose (n, 3) mm, zero where a vertex has no area about it."""
        pose = np.ascontiguousarray(positions, dtype=np.float32)
        return _summed_once(self._polygons, pose) if self._whole is None else self._whole.normals(pose)

    def update(self, positions: Floats32, touched: tuple[int, int], out: Floats32) -> None:
        """Make `out` (n, 3) right again after the vertices `touched` (first, last) of the pose (n, 3) changed."""
        first, last = max(touched[0], 0), min(touched[1], self.n_vertices)
        if last <= first:
            return
        self._prepared()
        plan = self._plan(first, last)
        if plan.vertices is None:
            out[:] = plan.normals(positions)
        else:
            out[plan.vertices] = plan.normals(positions)

    def _plan(self, first: int, last: int) -> _Plan:
        """The part of the whole that a range asks for, kept for the next time."""
        key = first, last
        if key in self._plans:
            self._plans.move_to_end(key)
            return self._plans[key]
        vertices = self._ring(first, last)
        if len(vertices) > _WIDE * self.n_vertices:
            plan = self._prepared()
        else:
            rows = self._about[vertices]
            used = np.unique(rows.indices)
            place = np.searchsorted(used, rows.indices).astype(np.int32)
            sums = sp.csr_matrix((rows.data, place, rows.indptr), shape=(len(vertices), len(used)))
            a, b, c, d = (corner[used] for corner in self._diagonals)
            plan = _Plan((a, b, c, d), sums, vertices)
        self._plans[key] = plan
        if len(self._plans) > KEPT:
            self._plans.popitem(last=False)
        return plan

    def _ring(self, first: int, last: int) -> Indices:
        """The vertices of all polygons that have a vertex in the range, and those of the range itself, sorted."""
        pointer = self._faces.indptr
        on = np.zeros(self.n_vertices, dtype=bool)
        on[first:last] = True
        faces = np.unique(self._faces.indices[pointer[first] : pointer[last]])
        count = self._starts[faces + 1] - self._starts[faces]
        rows = np.repeat(self._starts[faces] - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))
        on[self._corners[rows]] = True
        return np.flatnonzero(on)


def _areas(diagonals: Diagonals, positions: Floats32) -> Floats32:
    """(k, 3) twice the vector area of each pair of diagonals."""
    a, b, c, d = (positions.take(place, axis=0, mode="clip") for place in diagonals)
    a -= b
    c -= d
    areas = np.empty_like(a)
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.subtract(a[:, j] * c[:, k], a[:, k] * c[:, j], out=areas[:, i])
    return areas


def _unit(total: Floats32) -> Floats32:
    """(k, 3) of length one, zero where it has none; changed in place."""
    length = np.sqrt(np.einsum("ij,ij->i", total, total))
    length[length == 0.0] = 1.0
    total /= length[:, None]
    return total


def _summed_once(polygons: Polygons, positions: Floats32) -> Floats32:
    """(n, 3) unit normals of one pose, without tables."""
    diagonals, owner = _crosses(polygons)
    areas, total = _areas(diagonals, positions), np.empty((polygons.n_vertices, 3), dtype=np.float32)
    for axis in range(3):
        of_face = np.bincount(owner, areas[:, axis], polygons.n_faces)
        of_corner = np.repeat(of_face, polygons.counts)
        total[:, axis] = np.bincount(polygons.indices, of_corner, polygons.n_vertices)
    return _unit(total)


def _crosses(polygons: Polygons) -> tuple[Diagonals, Indices]:
    """Four vertices (k,) each such that half of (a - b) x (c - d), summed by owner (k,), is a polygon's vector area.

    A quad's is half the cross product of its diagonals; others are cut into triangles.
    """
    quads = np.flatnonzero(polygons.counts == 4)
    loops = polygons.indices[polygons.starts[quads][:, None] + np.arange(4)].astype(np.int64)
    rest = polygons.counts[polygons.triangle_face] != 4
    cut = polygons.triangles[rest].astype(np.int64)
    a, b = np.concatenate([loops[:, 2], cut[:, 1]]), np.concatenate([loops[:, 0], cut[:, 0]])
    c, d = np.concatenate([loops[:, 3], cut[:, 2]]), np.concatenate([loops[:, 1], cut[:, 0]])
    owner = np.concatenate([quads, polygons.triangle_face[rest].astype(np.int64)])
    return (a, b, c, d), owner
