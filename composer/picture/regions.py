"""Regions on the head: each in its own colour, with its number on the skin and its name beside the number.

Colours alone never tell regions apart: every region carries a numbered badge, and the list beside the head
says which name each number has. How strong a region is at a place is how much of its colour covers the bone.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.picture.colour import to_linear, to_srgb
from composer.picture.palette import colours_apart, region_colour

if TYPE_CHECKING:
    pass

Floats = NDArray[np.float64]
STRONGEST = 0.88  # of a region's colour, so that the form still shows
_BADGE, _SIZE, _LIST = 10, 15, 240


def region_colours(masks: Mapping[str, NDArray]) -> Floats:
    """(n, 4) sRGB and cover in [0, 1] of masks (n,) in [0, 1]; where several share, their colours mix as
    light.

    Raises MoueError where there are no masks.
    """
    if not masks:
        raise MoueError("there are no regions to show", hint="add a region first")
    weights = np.stack([np.clip(np.asarray(mask, dtype=np.float64), 0.0, 1.0) for mask in masks.values()])
    light = to_linear(np.array([region_colour(i) for i in colours_apart(list(weights))]) / 255.0)
    total = weights.sum(axis=0)
    mixed = weights.T @ light / np.where(total > 0.0, total, 1.0)[:, None]
    return np.concatenate([to_srgb(mixed), STRONGEST * np.minimum(total, 1.0)[:, None]], axis=1)
