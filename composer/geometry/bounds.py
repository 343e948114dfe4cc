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
    """b cylinders: `middle` (b, 3), unit `axis` (b, 3) or zeros where there is none, `radius` (b,), half `thickness`
    (b,)."""

    middle: Floats
    axis: Floats
    radius: Floats
    thickness: Floats

    def __len__(self) -> int:
        return len(self.middle)

    def apart(self, points: Floats, which: Ints) -> Floats:
        """(k,) the squared distance of `points` (k, 3) from their cylinders `which` (k,)."""
        off = points - self.middle[which]
        along = dot(off, self.axis[which])
        across = np.sqrt(np.maximum(dot(off, off) - along * along, 0.0)) - self.radius[which]
        np.maximum(across, 0.0, out=across)
        along = np.maximum(np.abs(along) - self.thickness[which], 0.0)
        return across * across + along * along


@dataclass(frozen=True, eq=False)
class Boxes:
    """b boxes along the axes: their `middle` (b, 3) and `half` (b, 3) their sizes."""

    middle: Floats
    half: Floats

    def __len__(self) -> int:
        return len(self.middle)

    def apart(self, points: Floats, which: Ints) -> Floats:
        """(k,) the squared distance of `points` (k, 3) from their boxes `which` (k,)."""
        apart = np.abs(points - self.middle[which])
        apart -= self.half[which]
        np.maximum(apart, 0.0, out=apart)
        return dot(apart, apart)


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
            levels.append(Boxes(middle, 0.5 * (high - low) + rounding))
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
    return Discs(middle, axis, np.sqrt(across_2) + rounding, thick + rounding)
