"""The smallest field of a patch, in its modes, that gives rows what they lack and turns no face over.

A row says that a vertex, less a place across from it, is to move along a direction by at least `lack`. A face row says
that a triangle keeps a share of its area as seen along its normal, which is taken to the first order about the last
field (sequential quadratic programming; Nocedal and Wright, Numerical optimization, 2006, chapter 18). With the modes
of `modes`, every row is a vector over their amounts (q, 3), and the least amounts that give the rows what they lack, or
more, follow from multipliers that are not negative (`solve.not_negative`). Face rows are added where the field would
break them, so that none is solved that does not count.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.contact.solve import LineRows, not_negative
from composer.geometry.vectors import cross, dot, lengths

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
ROUNDS = 4
"""Times that faces which the field would turn are added, and all of them taken about the field anew."""
TOLERATED = 0.02
"""Of an edge: a face that has so little less than it may is left so."""
LET_GO, LEAST = 0.3, 0.05
"""Cosine between a triangle and its corners' mean normal: one turned over by so much is let go wholly, and has no row
where it counts no more than that."""
FACE_FIRM = 2e-3
"""How much a face row gives way, beside a typical push's own answer of 1."""


class Faces:
    """The triangles (t, 3) of a patch at places (m, 3) mm, as rows: each keeps `left` of its area along its normal."""

    def __init__(self, places: NDArray, triangles: NDArray, normals: NDArray, left: float) -> None:
        """`normals` (m, 3) of the vertices: a face that looks against its corners' normals is let go."""
        corners = places[triangles]
        e, f = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        area = cross(e, f)
        size = lengths(area)
        n = area / np.maximum(size, np.finfo(float).tiny)[:, None]
        mean = normals[triangles].sum(axis=1)
        looks = dot(n, mean) / np.maximum(lengths(mean), 1e-9)
        long = np.sqrt(np.maximum(dot(e, e), dot(f, f)))
        sound = size > 1e-4 * long * long
        self.counts = np.clip((looks + LET_GO) / LET_GO, 0.0, 1.0) * sound
        self.triangles, self._e, self._f = triangles, e, f
        self._per_area = np.where(sound, long / np.maximum(size, np.finfo(float).tiny), 0.0)
        self.lack, self.most = -(1.0 - left) * long, long
        self._normal = n

    def over(self, field: Floats) -> Floats:
        """(t,) mm, how much less than it may each face has in a field (m, 3)."""
        d, g = self._moved(field, slice(None))
        n, e, f, per = self._normal, self._e, self._f, self._per_area
        row = dot(n, cross(d, f) + cross(e, g) + cross(d, g)) * per
        return np.where(self.counts > LEAST, self.lack - row, -np.inf)

    def rows(self, chosen: Ints, field: Floats) -> tuple[Floats, Floats]:
        """For `chosen` (k,) faces, about a field (m, 3), the row for a mm of movement of each corner, (k, 3, 3) mm, and
        what it lacks (k,) mm: the area is of second order in the field, and is taken to the first about it."""
        d, g = self._moved(field, chosen)
        n, e, f, per = (each[chosen] for each in (self._normal, self._e, self._f, self._per_area))
        second, third = cross(f + g, n) * per[:, None], cross(n, e + d) * per[:, None]
        return np.stack([-second - third, second, third], axis=1), self.lack[chosen] + dot(n, cross(d, g)) * per

    def _moved(self, field: Floats, chosen: Ints | slice) -> tuple[Floats, Floats]:
        moved = field[self.triangles[chosen]]
        return moved[:, 1] - moved[:, 0], moved[:, 2] - moved[:, 0]


def least_amounts(shape: Floats, rows: LineRows, faces: Faces | None, firm: float) -> Floats:
    """(m, 3) mm, the smallest field of modes `shape` (m, q) that gives `rows` what they lack, or more, and keeps
    `faces`. A row gives way by `firm` over what it counts."""
    taken = shape[rows.vertices]
    if rows.across is not None:
        place = rows.across
        many = np.repeat(np.arange(len(place.vertices)), place.corners.shape[1])
        share = place.share.ravel()
        on = share != 0.0
        take = sp.csr_matrix((share[on], (many[on], place.corners.ravel()[on])), shape=(len(taken), len(shape)))
        taken = taken - take @ shape
    n = rows.directions
    matrix = (taken @ taken.T) * (n @ n.T)
    matrix[np.diag_indices(len(n))] += firm / rows.counts
    pull = not_negative(matrix, rows.lack)
    amounts = taken.T @ (pull[:, None] * n)
    if faces is None:
        return np.asarray(shape @ amounts)
    field = np.asarray(shape @ amounts)
    kept = np.zeros(0, dtype=np.int64)
    for _ in range(ROUNDS):
        broken = np.flatnonzero(faces.over(field) > TOLERATED * faces.most)
        if not len(broken):
            break
        kept = np.union1d(kept, broken)
        slopes, lack = faces.rows(kept, field)
        sides = np.einsum("kci,kcq->kiq", slopes, shape[faces.triangles[kept]])
        between = sum((n[:, i, None] * taken) @ sides[:, i].T for i in range(3))
        flat = sides.reshape(len(sides), -1)
        own = flat @ flat.T
        own[np.diag_indices(len(own))] += FACE_FIRM / faces.counts[kept]
        both = not_negative(np.block([[matrix, between], [between.T, own]]), np.r_[rows.lack, lack])
        pull, hold = both[: len(n)], both[len(n) :]
        amounts = taken.T @ (pull[:, None] * n) + np.tensordot(hold, sides, 1).T
        field = np.asarray(shape @ amounts)
    return field
