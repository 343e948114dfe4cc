"""What the operators of a surface need of each triangle: its vector, its doubled area, its cotangents."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import read_only

Floats = NDArray[np.float64]
AT_ONCE = 8192
"""Triangles that are measured together, so that their arrays stay in the processor's cache (our choice)."""
SLIVER = 1e-6
"""Least doubled area of a triangle, as a share of its longest edge squared (our choice): cotangents stay finite."""


@dataclass(frozen=True, eq=False)
class FanMetric:
    """Of t triangles: their `vectors` (t, 3), normals times doubled areas in mm^2, the lengths of these, `lengths`
    (t,), the same kept off zero (see SLIVER), `doubled` (t,), and the `cotangents` (t, 3) of the corners' angles."""

    vectors: Floats
    lengths: Floats
    doubled: Floats
    cotangents: Floats

    @classmethod
    def of(cls, positions: Floats, triangles: NDArray) -> FanMetric:
        """Of `triangles` (t, 3) over `positions` (n, 3) mm."""
        columns = np.ascontiguousarray(positions.T)
        vectors, cotangents = (np.empty((len(triangles), 3)) for _ in range(2))
        lengths, doubled = (np.empty(len(triangles)) for _ in range(2))
        tiny = np.finfo(float).tiny ** 0.5
        for begin in range(0, len(triangles), AT_ONCE):
            part = slice(begin, begin + AT_ONCE)
            at = [[column.take(corner) for column in columns] for corner in triangles[part].T]
            side = [[after - here for here, after in zip(at[i], at[(i + 1) % 3], strict=True)] for i in range(3)]
            (x, y, z), (u, v, w) = side[0], [after - here for here, after in zip(at[0], at[2], strict=True)]
            area = [y * w - z * v, z * u - x * w, x * v - y * u]
            longest = np.maximum.reduce([_dot(one, one) for one in side])
            lengths[part] = np.sqrt(_dot(area, area))
            doubled[part] = np.maximum(lengths[part], np.maximum(SLIVER * longest, tiny))
            for i in range(3):
                vectors[part, i] = area[i]
                cotangents[part, i] = -_dot(side[i], side[i - 1]) / doubled[part]
        return cls(read_only(vectors), read_only(lengths), read_only(doubled), read_only(cotangents))


def _dot(one: list[Floats], other: list[Floats]) -> Floats:
    """(k,) the dot products of vectors that are given by columns."""
    return one[0] * other[0] + one[1] * other[1] + one[2] * other[2]
