"""Where a fit has brought the landmarks that nobody placed: guesses to look at, correct, and fit through once more.

They are better than guesses made before the fit, because the fit has followed the whole sculpt. A fit goes through
placed landmarks alone: guesses taken for true make it worse (DEVELOPERS.md has the figures).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from composer.fitting.closest import ClosestSurface
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.head.places import Place, SurfacePoint

OFF = 0.01
"""Of the head's diagonal: a landmark further from the sculpt than this lies where the sculpt has nothing."""


def found_landmarks(
    head: Head, cage: NDArray, sculpt: ClosestSurface, placed: Mapping[str, Place]
) -> dict[str, SurfacePoint]:
    """Places on the sculpt of the head's landmarks that are not among the `placed`, for its vertices at `cage` (n, 3)
    mm; those where the sculpt has nothing are left out.
    """
    marks = head.landmarks or Landmarks()
    wanted = [name for name in marks.points if name not in placed]
    if not wanted:
        return {}
    there = np.array([marks.position(name, cage) for name in wanted])
    near = sculpt.closest(there)
    size = float(np.linalg.norm(np.ptp(cage[head.skin], axis=0)))
    places = zip(wanted, sculpt.surface_points(near), near.distance, strict=True)
    return {name: place for name, place, far in places if far <= OFF * size}
