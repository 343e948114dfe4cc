"""Which way each triangle of a patch should look in a deformation: as the triangles about it are turned.

The rotation of its surroundings is the one nearest to how the edges of all triangles that share a corner with it move
(Sorkine and Alexa, As-rigid-as-possible surface modeling, 2007, section 2.1). A lip that rolls as a whole turns over
none of its triangles; one that comes to lie against its neighbours is turned over, however little it turned itself.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.nearest_turn import nearest_turns

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Surroundings:
    """Of triangles (t, 3) of a patch of `count` vertices, those that share a corner with each, but not itself."""

    def __init__(self, triangles: NDArray, count: int) -> None:
        corner = (triangles.ravel(), np.repeat(np.arange(len(triangles)), 3))
        fans = sp.csr_matrix((np.ones(triangles.size), corner), shape=(count, len(triangles)))
        around = sp.coo_matrix(fans.T @ fans)
        apart = around.row != around.col
        order = np.lexsort((around.col[apart], around.row[apart]))
        self._beside = around.col[apart][order].astype(np.int64)
        self._many = np.bincount(around.row[apart], minlength=len(triangles))
        self._first = np.cumsum(self._many) - self._many
        self._triangles = triangles

    def with_those_beside(self, faces: Ints) -> Ints:
        """`faces` (k,) and all that share a corner with one of them, in order."""
        found = np.zeros(len(self._triangles), dtype=bool)
        found[faces] = True
        found[self._about(faces)] = True
        return np.flatnonzero(found)

    def turned(self, before: NDArray, after: NDArray, faces: Ints, vectors: NDArray) -> Floats:
        """(k, 3) `vectors` (k, 3), one for each of `faces` (k,), turned as its surroundings are from places `before`
        (m, 3) to places `after` (m, 3). A face that shares no corner keeps its own."""
        found = np.array(vectors, dtype=np.float64)
        with_some = np.flatnonzero(self._many[faces])
        if not len(with_some):
            return found
        faces = faces[with_some]
        about = self._about(faces)
        number = np.zeros(len(self._triangles), dtype=np.int64)
        number[about] = 1
        used = np.flatnonzero(number)
        number[used] = np.arange(len(used))
        corners = self._triangles[used]
        one, other = before[corners], after[corners]
        one, other = one[:, [1, 2, 0]] - one, other[:, [1, 2, 0]] - other
        moved = np.matmul(other.transpose(0, 2, 1), one).reshape(-1, 9)
        many = self._many[faces]
        sums = np.add.reduceat(moved[number[about]], np.cumsum(many) - many, axis=0)
        turns, _ = nearest_turns(sums.reshape(-1, 3, 3))
        found[with_some] = np.matmul(turns, found[with_some, :, None])[:, :, 0]
        return found

    def _about(self, faces: Ints) -> Ints:
        """The triangles about each of `faces` (k,), one face after the other."""
        many = self._many[faces]
        skipped = self._first[faces] - (np.cumsum(many) - many)
        return self._beside[np.repeat(skipped, many) + np.arange(int(many.sum()))]
