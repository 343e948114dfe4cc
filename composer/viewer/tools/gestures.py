"""What a tool is: the press that begins it, what it is told while it is held, and how it ends."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Literal

from composer.viewer.tools.desk import Desk

Button = Literal["left", "turn", "move"]
"""The button that was pressed, by what it is for: the right one turns and the middle one moves, unless exchanged."""


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


@dataclass(frozen=True)
class HeadTool:
    """One tool: its `name`; the `button` and the `key` ("Ctrl", "Shift" or "") that begin it; `applies`, whether a
    press is meant for it as things stand; `begin`, its generator; `gesture` and `words`, its line on the sheet of keys
    ("" for none)."""

    name: str
    button: Button
    key: str
    applies: Callable[[Desk], bool]
    begin: Callable[[Desk, Point], Tool]
    gesture: str = ""
    words: str = ""
