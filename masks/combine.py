"""Masks out of masks: inverse, mirror image, and halves that sum to the whole. Values are (n,) in [0, 1]."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from composer.errors import MoueError
from composer.geometry.surface import Floats
from masks.mask import checked_values
from masks.soften import smoothstep


def invert(a: ArrayLike) -> Floats:
    """(n,) 1 - a. Twice gives the mask back within one rounding. Raises MoueError on values outside [0, 1]."""
    return 1.0 - checked_values(a)


def mirror(a: ArrayLike, partner: ArrayLike) -> Floats:
    """(n,) the mask of the other side: at each vertex the value of its `partner` (n,), a permutation of the
    vertices. Raises MoueError where `partner` is not one.
    """
    weights = checked_values(a)
    pi = np.asarray(partner)
    if pi.shape != weights.shape or pi.dtype.kind not in "iu" or not np.array_equal(np.sort(pi), np.arange(len(pi))):
        raise MoueError(f"the mirror map is not a permutation of the mask's {len(weights)} vertices")
    return weights[pi]


def split_sides(a: ArrayLike, side_mm: ArrayLike, ramp_mm: float) -> tuple[Floats, Floats]:
    """A mask (n,) as its left and right half, two masks (n,) that sum to it exactly.

    `side_mm` (n,) is the signed distance from the midline, positive on the subject's left; across `ramp_mm`,
    centred on the midline, the share goes over by smoothstep (0: at once, the midline itself in equal parts).
    Raises MoueError where lengths differ, the ramp is negative, or a distance is not a number.
    """
    weights = checked_values(a)
    side = np.asarray(side_mm, dtype=np.float64)
    if side.shape != weights.shape or np.isnan(side).any():
        raise MoueError("one signed distance from the midline is needed for every vertex")
    if not ramp_mm >= 0:
        raise MoueError("the ramp between the sides cannot be negative")
    share = smoothstep(np.clip(side, -ramp_mm, ramp_mm) / ramp_mm + 0.5) if ramp_mm > 0 else 0.5 * (1.0 + np.sign(side))
    larger = weights * np.maximum(share, 1.0 - share)
    smaller = weights - larger
    left_is_larger = share >= 0.5
    return np.where(left_is_larger, larger, smaller), np.where(left_is_larger, smaller, larger)
