"""The triangles of a patch as rows: how much of its area each keeps in a field, seen along the way it should look.

A triangle with the edges e, f, which a field changes by d, g, has m . ((e + d) x (f + g)) / 2 of area, seen along its
own normal turned as its surroundings are, m (`surroundings`). One that the pose has turned over already, against rest,
or that is a sliver without a side to speak of, is let go.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.contact.surroundings import Surroundings
from composer.geometry.vectors import cross, dot, lengths
from masks.soften import smoothstep

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
LEFT = 0.25
"""The share of its area that a triangle is to keep."""
TOLERATED = 5e-4
"""Of an edge: a face that has so little less than it may is left so."""
LET_GO, LEAST = 0.3, 0.05
"""Cosine between a triangle in the pose and the way it should look by rest: one turned over by so much is let go
wholly, and has no row where it counts no more than that."""
THIN = 0.005
"""Of its longest edge: a face that is no higher than this has no side to speak of and is let go; one twice as high
counts wholly. With 0.01 and 0.02, four faces in 42 pairs turn over."""
LOOKED_AT, COSINE = 0.5, 0.866
"""A face can have less than its share only where it keeps less than so much along its own normal, or where that turns
by more than the angle of this cosine on it or beside it: the others are not looked at."""
TINY = float(np.finfo(float).tiny)


class Faces:
    """The triangles (t, 3) of a patch at places (m, 3) mm in a pose, as rows: each keeps `LEFT` of its area."""

    def __init__(
        self, places: NDArray, triangles: NDArray, vectors: NDArray, around: Surroundings, rest: NDArray,
        rest_vectors: NDArray,
    ) -> None:  # fmt: skip
        """`vectors` (t, 3) mm^2 are twice the areas along the normals in the pose, `rest_vectors` those at `rest`
        (m, 3)."""
        self._places, self.triangles, self._vectors, self._around = places, triangles, vectors, around
        self._rest, self._rest_vectors = rest, rest_vectors
        self._size = lengths(vectors)
        self._counts = np.full(len(triangles), np.nan)

    def long(self, chosen: Ints) -> Floats:
        """(k,) mm the length of the longer of two edges of `chosen` (k,) faces."""
        corners = self._places[self.triangles[chosen]]
        e, f = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        return np.sqrt(np.maximum(dot(e, e), dot(f, f)))

    def counts(self, chosen: Ints) -> Floats:
        """(k,) in [0, 1] how far each of the faces is held."""
        fresh = chosen[np.isnan(self._counts[chosen])]
        if len(fresh):
            self._counts[fresh] = self._counted(fresh)
        return np.asarray(self._counts[chosen])

    def _counted(self, chosen: Ints) -> Floats:
        should = self._around.turned(self._rest, self._places, chosen, self._rest_vectors[chosen])
        size = np.maximum(lengths(should) * self._size[chosen], TINY)
        looks = dot(should, self._vectors[chosen]) / size
        flat = self._size[chosen] / np.maximum(self.long(chosen) ** 2, TINY)
        counts = np.clip((looks + LET_GO) / LET_GO, 0.0, 1.0) * smoothstep((flat - THIN) / THIN)
        return np.maximum((counts - LEAST) / (1.0 - LEAST), 0.0)

    def short(self, field: Floats, among: Ints | None = None) -> tuple[Ints, Floats]:
        """Those of the faces, `among` (k,) or all, that have less than they may in a field (m, 3), and by how much as
        their height goes, mm."""
        now = self._places + field
        vectors = areas(now, self.triangles if among is None else self.triangles[among])
        before, size = (self._vectors, self._size) if among is None else (self._vectors[among], self._size[among])
        kept, new = dot(before, vectors), lengths(vectors)
        seen = np.flatnonzero((kept < LOOKED_AT * size * size) | (kept < COSINE * size * new))
        if not len(seen):
            return np.zeros(0, dtype=np.int64), np.zeros(0)
        asked = self._around.with_those_beside(seen if among is None else among[seen])
        if among is not None:
            asked = np.intersect1d(asked, among, assume_unique=True)
        area = dot(self._should(now, asked), vectors[asked if among is None else np.searchsorted(among, asked)])
        long, size = self.long(asked), self._size[asked]
        by = (LEFT * size - area) * long / np.maximum(size, TINY)
        on = (by > TOLERATED * long) & (size > THIN * long * long)
        return asked[on], by[on]

    def rows(self, chosen: Ints, field: Floats) -> tuple[Floats, Floats]:
        """For `chosen` (k,) faces, about a field (m, 3), the row for a mm of movement of each corner, (k, 3, 3) mm, and
        what it lacks (k,) mm: the area is of second order in the field, and is taken to the first about it."""
        now = self._places + field
        m = self._should(now, chosen)
        size = np.maximum(self._size[chosen], TINY)
        per = self.long(chosen) / size
        corners = now[self.triangles[chosen]]
        e, f = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        second, third = cross(f, m) * per[:, None], cross(m, e) * per[:, None]
        slopes = np.stack([-second - third, second, third], axis=1)
        lack = (LEFT * size - dot(m, cross(e, f))) * per
        return slopes, lack + np.einsum("kci,kci->k", slopes, field[self.triangles[chosen]])

    def _should(self, now: Floats, chosen: Ints) -> Floats:
        """(k, 3) which way `chosen` (k,) faces should look where the patch lies at places `now` (m, 3)."""
        normals = self._vectors[chosen] / np.maximum(self._size[chosen], TINY)[:, None]
        return self._around.turned(self._places, now, chosen, normals)


def areas(places: NDArray, triangles: NDArray) -> Floats:
    """(t, 3) mm^2 twice the areas of triangles (t, 3) along their normals, their corners at places (m, 3) mm."""
    first = places[triangles[:, 0]]
    return cross(places[triangles[:, 1]] - first, places[triangles[:, 2]] - first)
