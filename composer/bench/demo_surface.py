"""The demo head at a level, for rows that need a face."""

from __future__ import annotations

from composer.demo.character import character
from composer.demo.library import build_library
from composer.head.head import Head
from composer.head.levels import head_at_level


def demo_head(level: int = 1, shapes: bool = False) -> Head:
    """keeper at a level (about 22,500 vertices at 1, 88,000 at 2), with `shapes` or without."""
    head = build_library(character("keeper"))
    return head_at_level(head if shapes else head.with_(shapes=()), level)
