"""Guesses after a fit: the landmarks that nobody placed, where the fitted cage has them on the sculpt.

They are better than guesses before the fit, because the fit follows the whole sculpt. A person checks and corrects
them for the next fit. A fit goes through placed landmarks alone: guesses make it worse (DEVELOPERS.md has the figures).
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
"""Largest distance of a landmark from the sculpt, as a share of the head's diagonal (our choice): beyond it the sculpt
has no such place."""


def found_landmarks(
    head: Head, cage: NDArray, sculpt: ClosestSurface, placed: Mapping[str, Place]
) -> dict[str, SurfacePoint]:
    """Places on the sculpt, by name, of the head's landmark points that are not in `placed`, for its vertices at `cage`
    (n, 3) mm. Landmarks for which the sculpt has no place are left out.
    """
    marks = head.landmarks or Landmarks()
    wanted = [name for name in marks.points if name not in placed]
    if not wanted:
        return {}
    near = sculpt.closest(np.array([marks.position(name, cage) for name in wanted]))
    size = float(np.linalg.norm(np.ptp(cage[head.skin], axis=0)))
    places = zip(wanted, sculpt.surface_points(near), near.distance, strict=True)
    return {name: place for name, place, far in places if far <= OFF * size}
