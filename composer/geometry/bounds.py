"""A tree of bounds about groups of triangles: each bound gives a lower limit for the distance of its triangles.

Small groups are nearly flat. Their bounds are discs with a thickness, square to the mean normal of the triangles: a
disc is a closer bound of a flat sheet than a box, whose corners stand out. Larger groups are seldom flat and have boxes
along the axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.vectors import cross, dot, unit_rows

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CHILDREN = 4
"""How many bounds a larger bound holds (our choice). It changes the time, never the answer."""
DISCS = 3
"""How many of the lowest levels, of 1, CHILDREN and CHILDREN^2 triangles, are discs. Chosen by timing: 2 to 5 take
about as long."""


@dataclass(frozen=True, eq=False)
class Discs:
    """b cylinders: a row of `table` (b, 8) holds the middle, the unit axis or zeros where there is none, the radius,
    and half the thickness."""

    table: Floats

    def __len__(self) -> int:
        return len(self.table)

    def apart(self, points: Floats, which: Ints) -> Floats:
        """(k,) the squared distance of points, as (3, k), from their cylinders `which` (k,)."""
        of = np.ascontiguousarray(self.table.take(which, axis=0).T)
        off, axis = points - of[0:3], of[3:6]
        along = off[0] * axis[0] + off[1] * axis[1] + off[2] * axis[2]
        across = off[0] * off[0] + off[1] * off[1] + off[2] * off[2] - along * along
        across = np.sqrt(np.maximum(across, 0.0, out=across), out=across)
        across -= of[6]
        np.maximum(across, 0.0, out=across)
        along = np.abs(along, out=along)
        along -= of[7]
        np.maximum(along, 0.0, out=along)
        return np.asarray(across * across + along * along)


@dataclass(frozen=True, eq=False)
class Boxes:
    """b boxes along the axes: a row of `table` (b, 6) holds the middle and half the sizes."""

    table: Floats

    def __len__(self) -> int:
        return len(self.table)

    def apart(self, points: Floats, which: Ints) -> Floats:
        """(k,) the squared distance of points, as (3, k), from their boxes `which` (k,)."""
        of = np.ascontiguousarray(self.table.take(which, axis=0).T)
        apart = np.abs(points - of[0:3])
        apart -= of[3:6]
        np.maximum(apart, 0.0, out=apart)
        return np.asarray(apart[0] * apart[0] + apart[1] * apart[1] + apart[2] * apart[2])


def bounds(corners: Floats) -> list[Discs | Boxes]:
    """The levels of bounds, from the top down, of triangles (t, 3, 3), t at least 1.

    Bound i of a level holds the CHILDREN bounds from CHILDREN * i on of the next level. The bounds of the last level
    hold one triangle each. All are widened by the rounding error of float64. The tree is tight where neighbouring
    triangles stand one after the other.
    """
    rounding = 8.0 * np.finfo(np.float64).eps * float(np.abs(corners).max())
    normal = cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    low, high = corners.min(axis=1), corners.max(axis=1)
    levels: list[Discs | Boxes] = []
    size = 1
    while True:
        middle = 0.5 * (low + high)
        if len(levels) < DISCS:
            levels.append(_discs(corners, middle, unit_rows(normal), size, rounding))
        else:
            levels.append(Boxes(np.concatenate([middle, 0.5 * (high - low) + rounding], axis=1)))
        if len(low) <= CHILDREN:
            return levels[::-1]
        starts = np.arange(0, len(low), CHILDREN)
        low, high = np.minimum.reduceat(low, starts), np.maximum.reduceat(high, starts)
        normal = np.add.reduceat(normal, starts)
        size *= CHILDREN


def _discs(corners: Floats, middle: Floats, axis: Floats, size: int, rounding: float) -> Discs:
    """The discs about each `size` triangles, with the given middles (b, 3) and axes (b, 3)."""
    group = np.arange(len(corners)) // size
    around, along_axis = (middle, axis) if size == 1 else (middle[group], axis[group])
    across_2, thick = np.zeros(len(corners)), np.zeros(len(corners))
    for corner in range(3):
        off = corners[:, corner] - around
        along = dot(off, along_axis)
        np.maximum(across_2, dot(off, off) - along * along, out=across_2)
        np.maximum(thick, np.abs(along), out=thick)
    if size > 1:
        starts = np.arange(0, len(corners), size)
        across_2, thick = np.maximum.reduceat(across_2, starts), np.maximum.reduceat(thick, starts)
    radius, thickness = np.sqrt(across_2) + rounding, thick + rounding
    return Discs(np.concatenate([middle, axis, radius[:, None], thickness[:, None]], axis=1))
