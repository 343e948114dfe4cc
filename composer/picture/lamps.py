"""The lights to choose from: one that follows the view, and three that stand still about the head.

Each has a window, a soft box of light that throws the shadows, with a sky all round, a floor below, a fill and a rim.
Directions are right, up, back: of the camera where the light follows it, else of a camera that looks at the face, so
that right is the subject's left. Colours and strengths are linear light, chosen by eye.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.errors import unknown

Floats = NDArray[np.float64]
Direction = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Lamps:
    """One light. `window` is the middle of the window, from the head; `window_half` half its width and height, at unit
    distance. `words` say it in a list."""

    words: str
    follows: bool
    window: Direction
    window_half: tuple[float, float]
    window_light: Floats
    sky_light: Floats
    floor_light: Floats
    fill: Direction
    fill_light: Floats
    rim: Direction
    rim_light: Floats


def _of(red: float, green: float, blue: float, strength: float) -> Floats:
    return np.array([red, green, blue]) * strength


def _daylight(words: str, follows: bool) -> Lamps:
    return Lamps(
        words, follows,
        window=(-0.62, 0.55, 0.66), window_half=(0.16, 0.20), window_light=_of(1.02, 0.985, 0.94, 1.0),
        sky_light=_of(0.90, 0.95, 1.00, 0.27), floor_light=_of(1.00, 0.94, 0.88, 0.11),
        fill=(0.75, 0.10, 0.55), fill_light=_of(0.95, 0.97, 1.00, 0.10),
        rim=(0.55, 0.45, -0.75), rim_light=_of(0.95, 0.97, 1.00, 0.16),
    )  # fmt: skip


FOLLOWING = "view"
"""The light of every picture for which no other is asked."""
LIGHTS: dict[str, Lamps] = {
    FOLLOWING: _daylight("follows the view", True),
    "daylight": _daylight("a window beside the face", False),
    "studio": Lamps(
        "wide and even, from above the face", False,
        window=(-0.16, 0.72, 0.70), window_half=(0.42, 0.30), window_light=_of(1.00, 0.99, 0.97, 0.78),
        sky_light=_of(0.97, 0.98, 1.00, 0.30), floor_light=_of(1.00, 0.98, 0.95, 0.26),
        fill=(0.70, -0.05, 0.70), fill_light=_of(1.00, 0.99, 0.98, 0.16),
        rim=(0.40, 0.55, -0.75), rim_light=_of(0.97, 0.98, 1.00, 0.22),
    ),
    "rim": Lamps(
        "from behind, along the outline", False,
        window=(-0.80, 0.42, -0.38), window_half=(0.14, 0.26), window_light=_of(1.04, 0.96, 0.86, 1.55),
        sky_light=_of(0.84, 0.92, 1.00, 0.17), floor_light=_of(0.92, 0.95, 1.00, 0.05),
        fill=(0.30, 0.15, 0.90), fill_light=_of(0.88, 0.94, 1.00, 0.10),
        rim=(0.80, 0.30, -0.55), rim_light=_of(0.80, 0.92, 1.00, 1.15),
    ),
}  # fmt: skip


def lamps_of(name: str) -> Lamps:
    """The light of that name. Raises MoueError with the nearest names where there is none."""
    if name not in LIGHTS:
        raise unknown("light", name, LIGHTS)
    return LIGHTS[name]
