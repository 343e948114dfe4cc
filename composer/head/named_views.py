"""The views that every head has, by name: the direction from the head to the eye.

x is the subject's left, y up, z where the face looks, so `three_quarter` and `profile` see the subject's left side and
the face looks to the viewer's left; `profile_right` sees the right side.
"""

from __future__ import annotations

import math


def towards(around_deg: float, above_deg: float) -> tuple[float, float, float]:
    """The unit direction that lies so many degrees from the front towards the subject's left, and so many upwards."""
    around, above = math.radians(around_deg), math.radians(above_deg)
    flat = math.cos(above)
    return math.sin(around) * flat, math.sin(above), math.cos(around) * flat


VIEWS: dict[str, tuple[float, float, float]] = {
    "front": towards(0.0, 0.0),
    "three_quarter": towards(36.0, 4.0),
    "profile": towards(90.0, 0.0),
    "profile_right": towards(-90.0, 0.0),
    "below": towards(24.0, -32.0),
    "back": towards(212.0, 6.0),
}
