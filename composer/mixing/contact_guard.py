"""A correction changed where it would turn a face over, by the least movement of that face's own corners.

For a triangle with the normal n and the edges e, f, whose corners a correction moves so that the edges change by d, g,
the area along n is n . ((e + d) x (f + g)) / 2. Where it falls below a share of what it was, the least further movement
of the corners that gives it back follows from the areas to the first order about the correction, as inequalities with
multipliers that are not negative, some times over (sequential quadratic programming; Nocedal and Wright, Numerical
optimization, 2006, chapter 18). Such a movement is as long as the triangle is short of height, however far the
correction goes: a sliver does not hold back the skin about it, and nothing jumps when it comes in. A triangle that the
pose has turned over already is let go.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.contact.faces import TOLERATED, Faces
from composer.contact.solve import not_negative

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
ROUNDS = 8
"""Times at most that triangles are added, and their areas taken anew."""
FIRM = 1e-3
"""How much a triangle gives way beside its own answer of 1."""


class FaceGuard:
    """Holds corrections of one patch of m vertices with triangles (t, 3)."""

    def __init__(self, triangles: NDArray, count: int) -> None:
        self._triangles = triangles
        self._count = count

    def held(self, faces: Faces, correction: Floats) -> Floats:
        """The `correction` (m, 3) mm of the patch whose triangles are `faces`, changed so that none turns over."""
        broken, _ = faces.short(correction)
        if not len(broken):
            return correction
        kept, moved = broken, correction
        for _ in range(ROUNDS):
            moved, given_way = self._given_back(faces, kept, moved, correction)
            touched = np.zeros(self._count, dtype=bool)
            touched[self._triangles[kept]] = True
            beside = np.flatnonzero(touched[self._triangles].any(axis=1))  # the others stay as they are
            broken, by = faces.short(moved, beside)
            allowed = np.zeros(len(faces.counts))
            allowed[kept] = given_way + TOLERATED * faces.most[kept]
            if (by <= allowed[broken]).all():
                break
            kept = np.union1d(kept, broken)
        return moved

    def _given_back(self, faces: Faces, kept: Ints, about: Floats, correction: Floats) -> tuple[Floats, Floats]:
        """(m, 3) mm, a `correction` (m, 3) with the least movement that leaves the `kept` (k,) triangles what they are
        to keep, by their areas about a field (m, 3), and (k,) mm by how much each gives way."""
        slopes, lack = faces.rows(kept, about)
        corners, place = np.unique(self._triangles[kept], return_inverse=True)
        rows = np.zeros((len(kept), len(corners), 3))
        rows[np.arange(len(kept))[:, None], place.reshape(-1, 3)] = slopes
        flat = rows.reshape(len(kept), -1)
        matrix = flat @ flat.T
        gives = np.diagonal(matrix) * (FIRM + 1.0 / faces.counts[kept] - 1.0)
        matrix[np.diag_indices(len(kept))] += gives
        pull = not_negative(matrix, lack - flat @ correction[corners].ravel())
        found = correction.copy()
        found[corners] += (pull @ flat).reshape(-1, 3)
        return found, gives * pull
