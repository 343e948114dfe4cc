"""The sizes of pictures that a person asks for, in pixels."""

from __future__ import annotations

import re

from composer.errors import MoueError

SMALLEST, LARGEST = 16, 4096
"""Pixels of a picture's side (our choice; larger ones ask for gigabytes)."""
STILL = (960, 1200)
TURNING = (480, 600)


def size_of(words: str) -> tuple[int, int]:
    """Width and height of "640x800". Raises MoueError for other words, and for too small or large a side."""
    found = re.fullmatch(r"([0-9]{1,5})x([0-9]{1,5})", words.strip().lower())
    sides = tuple(int(side) for side in found.groups()) if found else ()
    if len(sides) != 2 or not all(SMALLEST <= side <= LARGEST for side in sides):
        hint = f"give width and height in pixels, such as 640x800, each {SMALLEST} to {LARGEST}"
        raise MoueError(f"{words!r} is no size of a picture", hint=hint)
    return sides[0], sides[1]
