"""Faces that a deformation turns over, told from faces that turn along with what is around them.

A deformation keeps its orientation where the determinant of its gradient is positive (Ball, Global invertibility of
Sobolev functions and the interpenetration of matter, 1981; Schueller, Kavan, Panozzo, Sorkine-Hornung, Locally
injective mappings, 2013). A triangle of a surface has such a determinant only once it is said which side of its plane
is outside after the deformation. The side is taken by the rotation of its surroundings: the rotation nearest to how the
edges of all triangles that share a corner with it move (Sorkine and Alexa, As-rigid-as-possible surface modeling, 2007,
section 2.1). A lip that is rolled as a whole by more than a right angle is so not turned over, and a triangle that lies
against its neighbours is, however little it turned.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.vectors import cross, unit_rows

Floats = NDArray[np.float64]


class Orientations:
    """The orientation of triangles (t, 3) of a head of `count` vertices in its deformations."""

    def __init__(self, triangles: NDArray, count: int) -> None:
        self._triangles = triangles
        corner = (triangles.ravel(), np.repeat(np.arange(len(triangles)), 3))
        fans = sp.csr_matrix((np.ones(triangles.size), corner), shape=(count, len(triangles)))
        around = (fans.T @ fans).tocsr()
        around.setdiag(0.0)
        around.eliminate_zeros()
        around.data[:] = 1.0
        self._around = around

    def kept(self, before: NDArray, after: NDArray, faces: NDArray) -> Floats:
        """(k,) in [-1, 1], for `faces` (k,) the cosine between their normal `after`, (n, 3) mm, and that `before`,
        turned as their surroundings are; less than 0 where a face is turned over."""
        around = self._around[faces]
        used = np.unique(around.indices)
        turned = np.einsum("tki,tkj->tij", self._edges(after, used), self._edges(before, used))
        both = (around[:, used] @ turned.reshape(-1, 9)).reshape(-1, 3, 3)
        left, _, right = np.linalg.svd(both)
        left[:, :, 2] *= np.sign(np.linalg.det(left @ right))[:, None]
        was, now = self._normals(before, faces), self._normals(after, faces)
        return np.asarray(np.einsum("kij,kj,ki->k", left @ right, was, now))

    def _edges(self, places: NDArray, faces: NDArray) -> Floats:
        corners = places[self._triangles[faces]]
        return np.asarray(np.roll(corners, -1, axis=1) - corners)

    def _normals(self, places: NDArray, faces: NDArray) -> Floats:
        a, b, c = places[self._triangles[faces]].transpose(1, 0, 2)
        return unit_rows(cross(b - a, c - a))
