"""The named views of a head, and the camera each of them needs.

A view is a direction from the head to the eye. x is the subject's left, y up, z where the face looks, so
`three_quarter` and `profile` see the subject's left side and the face looks to the viewer's left; `profile_right` sees
the right side.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.errors import unknown
from composer.picture.camera import Camera, frame, look

FILL = 0.80
"""Share of the picture's tighter dimension that a head fills: 60 to 85 percent by common practice, no source."""


def _towards(azimuth_deg: float, elevation_deg: float) -> tuple[float, float, float]:
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    flat = np.cos(elevation)
    return float(np.sin(azimuth) * flat), float(np.sin(elevation)), float(np.cos(azimuth) * flat)


VIEWS: dict[str, tuple[float, float, float]] = {
    "front": _towards(0.0, 0.0),
    "three_quarter": _towards(36.0, 4.0),
    "profile": _towards(90.0, 0.0),
    "profile_right": _towards(-90.0, 0.0),
    "below": _towards(24.0, -32.0),
    "back": _towards(212.0, 6.0),
}


def axes_of(view: str) -> NDArray[np.float64]:
    """(3, 3) camera axes of a named view. Raises MoueError with the nearest names where there is none."""
    if view not in VIEWS:
        raise unknown("view", view, VIEWS)
    return look(VIEWS[view])


def camera_of(view: str, points: NDArray, size: tuple[int, int], fill: float = FILL) -> Camera:
    """A camera of the named view that shows all of `points` (k, 3) mm in a picture of `size` (width, height).

    Raises MoueError with the nearest names for an unknown view.
    """
    return frame(np.asarray(points, dtype=np.float64), axes_of(view), size, fill)


def aspect_of(view: str, points: NDArray) -> float:
    """Width over height of the points' bounding box in a view: the proportions of a suitable picture."""
    local = np.asarray(points, dtype=np.float64) @ axes_of(view).T
    extent = np.maximum(np.ptp(local, axis=0), 1e-6)
    return float(extent[0] / extent[1])
