"""The closest point of a triangle to a point, for many pairs at once; needles and collapsed triangles included.

Each triangle has its own frame: the longest side, and the height over it. The height is made orthogonal to the side
twice (Giraud, Langou and Rozloznik 2005, "The loss of orthogonality in the Gram-Schmidt orthogonalization process":
twice is enough), so that the foot of the perpendicular is exact to the last digits of the longest side even in needles.
Where the foot falls outside, or the triangle has no height, the closest point on the three sides is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.vectors import dot

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NO_HEIGHT = 1e-14
"""A triangle lower than this share of its longest side is that side alone: float64 cannot tell it from one."""
TINY = 1e-300
"""Least squared length that is divided by (mm^2); it keeps a side of no length from giving nan."""

_ORIGIN, _SIDE, _APEX, _SIDE_DUAL, _HEIGHT_DUAL = (slice(3 * i, 3 * i + 3) for i in range(5))
_APEX_ALONG, _FLAT = 15, 16


@dataclass(frozen=True, eq=False)
class TriangleFrames:
    """The frames of t triangles: `first` (t,) is the corner at which the longest side begins. A row of `table` (t, 17)
    holds its position (the origin), the longest side, the vector to the opposite corner (the apex), the duals of side
    and height, how far the apex lies along the side, and 1 where the triangle has no height, else 0. A point w from the
    origin has the coordinate h = w . height's dual along the apex and w . side's dual - h times that along the side.
    """

    first: Ints
    table: Floats

    @classmethod
    def of(cls, corners: Floats) -> TriangleFrames:
        """Of triangles `corners` (t, 3, 3)."""
        sides = corners[:, [1, 2, 0]] - corners
        first = np.einsum("tij,tij->ti", sides, sides).argmax(axis=1)
        row = np.arange(len(corners))
        origin = corners[row, first]
        side, apex = sides[row, first], corners[row, (first + 2) % 3] - origin
        squared = np.maximum(dot(side, side), TINY)
        side_dual = side / squared[:, None]
        height = apex
        for _ in range(2):
            height = height - dot(height, side_dual)[:, None] * side
        high = dot(height, height)
        flat = high <= NO_HEIGHT**2 * squared
        height_dual = np.where(flat[:, None], 0.0, height / np.where(flat, 1.0, high)[:, None])
        along = dot(apex, side_dual)
        table = [origin, side, apex, side_dual, height_dual, along[:, None], flat[:, None]]
        return cls(first, np.concatenate(table, axis=1))

    def squared(self, points: Floats, triangle: Ints) -> Floats:
        """(k,) squared distance of each of `points` (k, 3) from its `triangle` (k,)."""
        return self._foot(points, triangle)[1]

    def closest(self, points: Floats, triangle: Ints) -> tuple[Floats, Floats]:
        """Barycentric weights (k, 3) of the point of each `triangle` (k,) closest to `points` (k, 3), and the squared
        distance (k,). Weights are at least 0 and sum to one; on a side the opposite corner's weight is exactly 0.
        """
        local, squared = self._foot(points, triangle)
        bary = np.empty_like(local)
        np.put_along_axis(bary, (self.first[triangle][:, None] + np.arange(3)) % 3, local, axis=1)
        return bary, squared

    def _foot(self, points: Floats, triangle: Ints) -> tuple[Floats, Floats]:
        """Weights (k, 3) of the corners from `first` on, and the squared distance (k,)."""
        of = np.ascontiguousarray(self.table.take(triangle, axis=0).T)
        from_origin, side, apex = points.T - of[_ORIGIN], of[_SIDE], of[_APEX]
        high = _product(from_origin, of[_HEIGHT_DUAL])
        along = _product(from_origin, of[_SIDE_DUAL]) - high * of[_APEX_ALONG]
        local = np.stack([1.0 - along - high, along, high])
        outside = np.flatnonzero((local[0] < 0.0) | (along < 0.0) | (high < 0.0) | (of[_FLAT] > 0.0))
        local[:, outside] = _on_sides(*(each.take(outside, axis=1) for each in (from_origin, side, apex)))
        off = from_origin - local[1] * side - local[2] * apex
        return local.T, _product(off, off)


def closest_on_triangles(points: NDArray, corners: NDArray) -> tuple[Floats, Floats]:
    """Barycentric weights (k, 3) of the closest point of each triangle `corners` (k, 3, 3) to each of `points` (k, 3),
    and the squared distance (k,), in the unit of the points squared.

    Triangles may be collapsed, collinear or duplicate. The distance is exact to about 1e-14 of the lengths involved.
    Raises nothing; numbers that are not finite give numbers that are not finite.

    >>> bary, squared = closest_on_triangles(np.array([[2.0, 2, 1]]), np.array([[[0.0, 0, 0], [2, 0, 0], [0, 2, 0]]]))
    >>> bary.tolist(), squared.tolist()
    ([[0.0, 0.5, 0.5]], [3.0])
    """
    frames = TriangleFrames.of(np.asarray(corners, dtype=np.float64))
    return frames.closest(np.asarray(points, dtype=np.float64), np.arange(len(points)))


def _product(one: Floats, other: Floats) -> Floats:
    """(k,) dot products of vectors (3, k)."""
    return one[0] * other[0] + one[1] * other[1] + one[2] * other[2]


def _on_sides(point: Floats, side: Floats, apex: Floats) -> Floats:
    """(3, k) weights of the origin, the end of `side` (3, k) and the end of `apex` (3, k) for the place on the three
    sides that is closest to `point` (3, k). All vectors start at the origin."""
    weights = np.zeros(point.shape)
    best = np.full(point.shape[1], np.inf)
    for start, end, begin, along in ((0, 1, None, side), (0, 2, None, apex), (1, 2, side, apex - side)):
        off = point if begin is None else point - begin
        t = np.clip(_product(off, along) / np.maximum(_product(along, along), TINY), 0.0, 1.0)
        rest = off - t * along
        away = _product(rest, rest)
        nearer = np.flatnonzero(away < best)
        best[nearer] = away[nearer]
        weights[:, nearer] = 0.0
        weights[start, nearer], weights[end, nearer] = 1.0 - t[nearer], t[nearer]
    return weights
