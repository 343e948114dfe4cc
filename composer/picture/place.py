"""Where rays meet a posed head: points, normals that face the eye, and what the vertices hold, between the vertices.

Shadow rays start from a point lifted to the smooth surface, so that large triangles show no facets (Hanika 2021,
"Hacking the shadow terminator").
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.picture.figure import Figure, Posed
from composer.picture.planes import Single, as_planes, cross, dot, unit

LIFT_MM = np.float32(0.06)
"""How far a shadow ray starts from the surface, mm (our choice)."""
_POINT, _NORMAL, _SHEEN, _OPEN, _COVERS = slice(0, 3), slice(3, 6), 6, 7, 8


class Ground:
    """What rays of one picture may meet: a table (n', 8 + 4 a cover) of what each vertex of the fine level holds."""

    def __init__(
        self, figure: Figure, pose: Posed, covers: Sequence[tuple[NDArray, NDArray | None]]
    ) -> None:
        """`covers` are the albedo (n', 3) and how much of it is covered (n',), or None, of each picture."""
        held = [pose.positions, pose.normals, figure.sheen[:, None], pose.openness[:, None]]
        for albedo, covered in covers:
            held += [albedo, np.zeros((len(albedo), 1)) if covered is None else covered[:, None]]
        self.table = np.concatenate(held, axis=1, dtype=np.float32)
        self.triangles = figure.triangles
        self.n_covers = len(covers)


class Place:
    """The points where k rays meet the surface: `points`, `normals` (turned to the eye) and `sight` (3, k), whether the
    surface is seen from `back` (k,), where shadow rays start (`lifted`), and what lies there: `sheen`, `free` (k,)."""

    def __init__(self, ground: Ground, triangle: NDArray, u: NDArray, v: NDArray, sight: Single) -> None:
        self.triangle, self.sight = triangle, sight
        self.corners = ground.triangles.take(triangle, axis=0).T
        held = [np.ascontiguousarray(ground.table.take(corner, axis=0).T) for corner in self.corners]
        weights = self.weights = (np.float32(1.0) - u - v, u, v)
        self.mixed = held[0] * weights[0] + held[1] * weights[1] + held[2] * weights[2]
        a, b, c = (each[_POINT] for each in held)
        flat = unit(cross(b - a, c - a))
        self.points = self.mixed[_POINT]
        self.back = dot(flat, sight) > 0.0
        side = np.where(self.back, np.float32(-1.0), np.float32(1.0))
        self.normals = unit(self.mixed[_NORMAL]) * side
        rise = np.zeros_like(self.points)
        for each, weight in zip(held, weights, strict=True):
            normal = each[_NORMAL]
            below = np.minimum(dot(self.points - each[_POINT], normal), np.float32(0.0))
            rise -= (weight * below) * normal
        self.lifted = self.points + np.where(self.back, np.float32(0.0), rise) + (LIFT_MM * side) * flat

    @property
    def sheen(self) -> Single:
        """(k,) how strongly the places mirror the window."""
        return self.mixed[_SHEEN]

    @property
    def free(self) -> Single:
        """(k,) the places' openness."""
        return self.mixed[_OPEN]

    def between(self, values: NDArray, some: NDArray) -> Single:
        """(3, len(some)) other vertex values (n', 3) at some of the places."""
        return sum(
            as_planes(values.take(corner[some], axis=0)) * weight[some]
            for corner, weight in zip(self.corners, self.weights, strict=True)
        )

    def cover(self, i: int) -> tuple[Single, Single]:
        """Albedo (3, k) of the cover `i`, and how much of it is covered (k,)."""
        begin = _COVERS + 4 * i
        return self.mixed[begin : begin + 3], self.mixed[begin + 3]
