"""Landmark curves on a sculpt: the line through the points that a person drew, in the library's direction."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.guess import carried_by
from composer.head.head import Head
from composer.head.places import SurfacePoint, resolve
from composer.viewer.new_head.steps import Marks

Floats = NDArray[np.float64]
BETWEEN = 6
"""Steps in which a curve goes from one of its points to the next (our choice)."""
ENDS_APART = 0.25
"""Share of a curve's length that its ends lie apart at least, for a curve with two ends (our choice)."""


def is_open(line: Floats) -> bool:
    """Whether a line (k, 3) has two ends, and does not come back to where it began."""
    length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    return len(line) > 1 and float(np.linalg.norm(line[-1] - line[0])) > ENDS_APART * length


def between(sculpt: ClosestSurface, pressed: tuple[SurfacePoint, ...]) -> list[SurfacePoint]:
    """The points of a curve and places between them, all on the surface."""
    points = np.array([resolve(place, sculpt.positions) for place in pressed])
    steps = np.linspace(0.0, 1.0, BETWEEN + 1)[:-1, None]
    dense = [(1.0 - steps) * a + steps * b for a, b in zip(points[:-1], points[1:], strict=True)]
    return sculpt.surface_points(sculpt.closest(np.concatenate([*dense, points[-1:]])))


def laid_curves(library: Head, sculpt: ClosestSurface, marks: Marks) -> dict[str, tuple[SurfacePoint, ...]]:
    """The curves that have two points or more, by name, each as a line on the sculpt. Its direction is the library's
    own, as far as the placed landmarks tell it; else that in which it was pressed."""
    return {
        name: _laid(library, sculpt, marks, name, between(sculpt, line))
        for name, line in marks.curves.items()
        if len(line) > 1
    }


def _laid(
    library: Head, sculpt: ClosestSurface, marks: Marks, name: str, line: list[SurfacePoint]
) -> tuple[SurfacePoint, ...]:
    assert library.landmarks is not None
    ends = library.landmarks.curve_positions(name, library.neutral)[[0, -1]]
    try:
        ends = carried_by(library, sculpt, marks.placed, ends)
    except MoueError:
        return tuple(line)
    first, last = (resolve(line[i], sculpt.positions) for i in (0, -1))
    along = np.linalg.norm(ends[0] - first) + np.linalg.norm(ends[1] - last)
    against = np.linalg.norm(ends[0] - last) + np.linalg.norm(ends[1] - first)
    return tuple(line if along <= against else line[::-1])
