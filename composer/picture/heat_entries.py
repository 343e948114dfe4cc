"""What a sheet shows as heat: how far each pose moves the skin, or where each region's mask lies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.picture.heat import Scale, mask_scale, movement, movement_scale
from composer.picture.sheet import Entry


def with_movement(neutral: NDArray, entries: Sequence[Entry]) -> tuple[list[Entry], Scale]:
    """The entries with the distance of each vertex from the neutral (n, 3) as heat, all on one scale in mm."""
    moved = [movement(neutral, entry.positions) for entry in entries]
    scale = movement_scale(np.concatenate(moved)) if moved else mask_scale()
    return [replace(e, colours=scale.colours(m)) for e, m in zip(entries, moved, strict=True)], scale


def mask_entries(neutral: NDArray, masks: Mapping[str, NDArray]) -> tuple[list[Entry], Scale]:
    """One entry a region: the neutral (n, 3) with the region's effective mask (n,) as heat; where it is 0, bone."""
    scale = mask_scale()
    entries = []
    for name, mask in masks.items():
        shown = np.where(mask > 0.0, mask, np.nan)
        entries.append(Entry(name, neutral, f"{int((mask > 0).sum())} vertices", scale.colours(shown)))
    return entries, scale
