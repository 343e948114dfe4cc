"""The colours of regions: each region has its own, and its mask is the share of the colour over the skin."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.picture.colour import to_linear, to_srgb
from composer.picture.palette import region_colour
from masks.hues import hues_apart

Floats = NDArray[np.float64]
STRONGEST = 0.88
"""Largest share of a region's colour over the skin (our choice): the form stays visible."""


def region_colours(masks: Mapping[str, NDArray], hues: Mapping[str, int] | None = None) -> Floats:
    """(n, 4) sRGB and cover in [0, 1] of masks (n,) in [0, 1]; the colours of several masks mix as light. `hues` are
    colour numbers by name (`region_colour`), by default chosen so that neighbours differ.

    Raises MoueError where there are no masks.
    """
    if not masks:
        raise MoueError("there are no regions to show", hint="add a region first")
    weights = np.stack([np.clip(np.asarray(mask, dtype=np.float64), 0.0, 1.0) for mask in masks.values()])
    chosen = hues_apart(list(weights)) if hues is None else [hues[name] for name in masks]
    light = to_linear(np.array([region_colour(i) for i in chosen]) / 255.0)
    total = weights.sum(axis=0)
    mixed = weights.T @ light / np.where(total > 0.0, total, 1.0)[:, None]
    return np.concatenate([to_srgb(mixed), STRONGEST * np.minimum(total, 1.0)[:, None]], axis=1)
