"""A correction changed where it would turn a face over, by the least movement of that face's own corners.

For a triangle with the edges e, f, whose corners a correction moves so that they change by d, g, the area is m .
((e + d) x (f + g)) / 2 as seen along m, its normal in the pose turned as its surroundings are (`contact.faces`). Where
it falls below a share of what it was, the least further movement of the corners that gives it back follows from the
areas to the first order about the correction, as inequalities with multipliers that are not negative, some times over
(sequential quadratic programming; Nocedal and Wright, Numerical optimization, 2006, chapter 18). Such a movement is as
long as the triangle is short of height, however far the correction goes: a sliver does not hold back the skin about it,
and nothing jumps when it comes in. A triangle that the pose has turned over already is let go.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.contact.faces import TOLERATED, Faces, areas
from composer.contact.solve import not_negative
from composer.contact.surroundings import Surroundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
ROUNDS = 8
"""Times at most that triangles are added, and their areas taken anew."""
FIRM = 1e-3
"""How much a triangle gives way beside its own answer of 1."""


class FaceGuard:
    """Holds corrections of one patch that lies at `rest` (m, 3) mm, with triangles (t, 3)."""

    def __init__(self, triangles: NDArray, rest: NDArray) -> None:
        self._triangles, self._rest = triangles, rest
        self._around = Surroundings(triangles, len(rest))
        self._rest_vectors = areas(rest, triangles)

    def held(self, places: NDArray, vectors: NDArray, correction: Floats) -> Floats:
        """The `correction` (m, 3) mm of the patch in a pose at `places` (m, 3), where `vectors` (t, 3) mm^2 are twice
        the areas of its triangles along their normals, changed so that none turns over."""
        faces = Faces(places, self._triangles, vectors, self._around, self._rest, self._rest_vectors)
        kept = self._held_among(faces, faces.short(correction)[0])
        moved = correction
        for _ in range(ROUNDS if len(kept) else 0):
            moved, given_way = self._given_back(faces, kept, moved, correction)
            beside = self._around.with_those_beside(self._around.with_those_beside(kept))  # the others stay as they are
            broken, by = faces.short(moved, beside)
            allowed = np.zeros(len(self._triangles))
            allowed[kept] = given_way + TOLERATED * faces.long(kept)
            over = self._held_among(faces, broken[by > allowed[broken]])
            if not len(over):
                break
            kept = np.union1d(kept, over)
        return moved

    def _held_among(self, faces: Faces, chosen: Ints) -> Ints:
        """Those of the `chosen` (k,) triangles that are not let go."""
        return chosen[faces.counts(chosen) > 0.0]

    def _given_back(self, faces: Faces, kept: Ints, about: Floats, correction: Floats) -> tuple[Floats, Floats]:
        """(m, 3) mm, a `correction` (m, 3) with the least movement that leaves the `kept` (k,) triangles what they are
        to keep, by their areas about a field (m, 3), and (k,) mm by how much each gives way."""
        slopes, lack = faces.rows(kept, about)
        corners, place = np.unique(self._triangles[kept], return_inverse=True)
        rows = np.zeros((len(kept), len(corners), 3))
        rows[np.arange(len(kept))[:, None], place.reshape(-1, 3)] = slopes
        flat = rows.reshape(len(kept), -1)
        matrix = flat @ flat.T
        gives = np.diagonal(matrix) * (FIRM + 1.0 / faces.counts(kept) - 1.0)
        matrix[np.diag_indices(len(kept))] += gives
        pull = not_negative(matrix, lack - flat @ correction[corners].ravel())
        found = correction.copy()
        found[corners] += (pull @ flat).reshape(-1, 3)
        return found, gives * pull
