"""The entries of a sheet with heat: the movement of each pose, or the mask of each region."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.picture.face import box_about
from composer.picture.heat import Scale, mask_scale, movement, movement_scale
from composer.picture.sheet import Entry

AROUND, CLOSEST, WHOLE = 0.35, 0.3, 0.6
"""Margin around a region, as a share of its size; the least height of a picture, and the height of a region above which
the whole head is shown, as shares of the head's height (our choice)."""


def with_movement(neutral: NDArray, entries: Sequence[Entry]) -> tuple[list[Entry], Scale]:
    """The entries with the distance of each vertex from the neutral (n, 3) as heat, all on one square root scale in
    mm, so that a lid's two millimetres are visible beside a jaw's forty."""
    moved = [movement(neutral, entry.positions) for entry in entries]
    scale = movement_scale(np.concatenate(moved), 0.5) if moved else mask_scale()
    return [replace(e, colours=scale.colours(m)) for e, m in zip(entries, moved, strict=True)], scale


def mask_entries(neutral: NDArray, masks: Mapping[str, NDArray]) -> tuple[list[Entry], Scale]:
    """One entry a region: the neutral (n, 3) with the region's effective mask (n,) as heat; where it is 0, skin.

    Each picture is framed by its region, with some of the face around it.
    """
    scale = mask_scale()
    entries = []
    for name, mask in masks.items():
        shown = np.where(mask > 0.0, mask, np.nan)
        inside = neutral[mask > 0.0]
        tall = float(np.ptp(neutral[:, 1]))
        small = len(inside) > 0 and float(np.ptp(inside[:, 1])) < WHOLE * tall
        close = box_about(inside, AROUND, CLOSEST * tall) if small else None
        entries.append(Entry(name, neutral, f"{len(inside)} vertices", scale.colours(shown), close))
    return entries, scale
