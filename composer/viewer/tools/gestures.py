"""What a tool is told: where the pointer is, how hard a pen presses, and how a drag ends."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass


@dataclass(frozen=True)
class Point:
    """The pointer at window points (x, y), y from the top, since a step (dx, dy); `pressure` in [0, 1], 1 for a
    mouse; `released` ends the drag."""

    x: float
    y: float
    dx: float = 0.0
    dy: float = 0.0
    pressure: float = 1.0
    shift: bool = False
    released: bool = False


class Abandoned(Exception):
    """Thrown into a tool when the person takes the drag back: it leaves no trace."""


Tool = Generator[None, Point, None]
"""A drag: the generator is begun on the press and then sent one `Point` for each move and one for the release."""
