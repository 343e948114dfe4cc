"""The soft borders of a head's masks: signed distances, kept for the masks asked last."""

from __future__ import annotations

from numpy.typing import NDArray

from composer.head.head import Head
from composer.head.spots import ground_of
from masks.soft_border import SoftBorder

KEPT = 12
"""Masks whose distances are kept: those of a region in hand and its neighbours. A design choice, no source."""


def soft_border(head: Head, mask: NDArray) -> SoftBorder:
    """The border of a mask (n,) of a head, prepared once for the same array. Raises MoueError where it is no mask."""
    ground = ground_of(head)
    kept: list[tuple[NDArray, SoftBorder]] = vars(head.surface).setdefault("soft_borders", [])
    for known, border in kept:
        if known is mask and border.ground is ground:
            return border
    border = SoftBorder(ground, mask)
    kept[:] = [*kept[1 - KEPT :], (mask, border)]
    return border
