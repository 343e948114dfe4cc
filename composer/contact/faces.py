"""The triangles of a patch as rows: how much of its area each keeps in a field, as seen along its own normal.

A triangle with the normal n and the edges e, f, which a field changes by d, g, has n . ((e + d) x (f + g)) / 2 of area.
One that the pose has turned over already, or that is a sliver without a side to speak of, is let go.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.vectors import cross, dot, lengths
from masks.soften import smoothstep

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
TOLERATED = 5e-4
"""Of an edge: a face that has so little less than it may is left so."""
LET_GO, LEAST = 0.3, 0.05
"""Cosine between a triangle and its corners' mean normal: one turned over by so much is let go wholly, and has no row
where it counts no more than that."""
THIN = 0.005
"""Of its longest edge: a face that is no higher than this has no side to speak of and is let go; one twice as high
counts wholly. With 0.01 and 0.02, four faces in 42 pairs turn over."""


class Faces:
    """The triangles (t, 3) of a patch at places (m, 3) mm, as rows: each keeps `left` of its area along its normal."""

    def __init__(self, places: NDArray, triangles: NDArray, vectors: NDArray, normals: NDArray, left: float) -> None:
        """`vectors` (t, 3) mm^2 are twice the areas along the normals, `normals` (m, 3) the vertices': a face that
        looks against its corners' normals is let go."""
        area = np.asarray(vectors, dtype=np.float64)
        first = places[triangles[:, 0]]
        e, f = places[triangles[:, 1]] - first, places[triangles[:, 2]] - first
        size = lengths(area)
        n = area / np.maximum(size, np.finfo(float).tiny)[:, None]
        mean = normals[triangles[:, 0]] + normals[triangles[:, 1]] + normals[triangles[:, 2]]
        looks = dot(n, mean) / np.maximum(lengths(mean), 1e-9)
        long = np.sqrt(np.maximum(dot(e, e), dot(f, f)))
        flat = size / np.maximum(long * long, np.finfo(float).tiny)
        counts = np.clip((looks + LET_GO) / LET_GO, 0.0, 1.0) * smoothstep((flat - THIN) / THIN)
        self.counts = np.maximum((counts - LEAST) / (1.0 - LEAST), 0.0)
        self._felt = np.flatnonzero(self.counts > 0.0)
        self.triangles, self.e, self.f, self.normal, self.size = triangles, e, f, n, size
        self._per_area = np.where(flat > THIN, long / np.maximum(size, np.finfo(float).tiny), 0.0)
        self.lack, self.most = -(1.0 - left) * long, long

    def short(self, field: Floats, among: Ints | None = None) -> tuple[Ints, Floats]:
        """Those of the faces, `among` (k,) or all, that have less than they may in a field (m, 3), and by how much as
        their height goes, mm."""
        asked = self._felt if among is None else among[self.counts[among] > 0.0]
        d, g = self._moved(field, asked)
        n, e, f, per = (each[asked] for each in (self.normal, self.e, self.f, self._per_area))
        by = self.lack[asked] - dot(n, cross(d, f) + cross(e + d, g)) * per
        on = np.flatnonzero(by > TOLERATED * self.most[asked])
        return asked[on], by[on]

    def rows(self, chosen: Ints, field: Floats) -> tuple[Floats, Floats]:
        """For `chosen` (k,) faces, about a field (m, 3), the row for a mm of movement of each corner, (k, 3, 3) mm, and
        what it lacks (k,) mm: the area is of second order in the field, and is taken to the first about it."""
        d, g = self._moved(field, chosen)
        n, e, f, per = (each[chosen] for each in (self.normal, self.e, self.f, self._per_area))
        second, third = cross(f + g, n) * per[:, None], cross(n, e + d) * per[:, None]
        return np.stack([-second - third, second, third], axis=1), self.lack[chosen] + dot(n, cross(d, g)) * per

    def _moved(self, field: Floats, chosen: Ints) -> tuple[Floats, Floats]:
        moved = field[self.triangles[chosen]]
        return moved[:, 1] - moved[:, 0], moved[:, 2] - moved[:, 0]
