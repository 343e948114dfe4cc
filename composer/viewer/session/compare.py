"""What the pose is compared with, and how: as a ghost over it, behind a line that wipes, or side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

How = Literal["off", "ghost", "wipe", "side"]
HOW: dict[How, tuple[str, str]] = {
    "off": ("Off", "the pose alone"),
    "ghost": ("Ghost", "the other one shines through"),
    "wipe": ("Wipe", "left of a line that can be dragged the other one is seen"),
    "side": ("Side by side", "the other one stands on the right, seen from the same place"),
}
NEUTRAL, TARGET = "\nneutral", "\ntarget"
"""What can be compared with besides recipes; no recipe is named so."""


@dataclass
class Compare:
    """`how`, `whom` (NEUTRAL, TARGET or a recipe's name), and the place `at` of the wipe as a share of the view."""

    how: How = "off"
    whom: str = NEUTRAL
    at: float = 0.5
