"""The soft borders of a head's masks: signed distances, kept for the masks asked last."""

from __future__ import annotations

from numpy.typing import NDArray

from composer.head.coarse_head import coarse_head
from composer.head.head import Head
from composer.head.spots import ground_of
from masks.soft_border import SoftBorder

KEPT = 12
"""Masks whose distances are kept: those of a region in hand and its neighbours. A design choice, no source."""


def ramp_width_mm(head: Head, mask: NDArray) -> float:
    """About how wide the ramp of a mask (n,) is, mm, 0 where it has none; of a large head as its coarser level shows
    it, since a panel asks for it in every frame, and after every stroke of another mask."""
    level = coarse_head(head)
    if level is None:
        return soft_border(head, mask).width_mm
    kept: list[tuple[NDArray, float]] = vars(head.surface).setdefault("ramp_widths", [])
    for known, width in kept:
        if known is mask:
            return width
    width = SoftBorder(ground_of(level.head), level.level.down(mask)).width_mm
    kept[:] = [*kept[1 - KEPT :], (mask, width)]
    return width


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
