"""Operations on masks: the inverse, and two sides that sum to the mask. Values are (n,) in [0, 1]."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from composer.errors import MoueError
from composer.geometry.surface import Floats
from masks.mask import checked_values
from masks.soften import smoothstep


def invert(a: ArrayLike) -> Floats:
    """(n,) 1 - a. Applied twice it gives the mask back within rounding. Raises MoueError for values outside [0, 1]."""
    return 1.0 - checked_values(a)


def split_sides(a: ArrayLike, side_mm: ArrayLike, ramp_mm: float) -> tuple[Floats, Floats]:
    """The left and the right side of a mask (n,), two masks (n,) that sum to it exactly.

    `side_mm` (n,) is the signed distance from the midline, positive on the subject's left; across `ramp_mm`,
    centred on the midline, the share changes by smoothstep (0: a step, with equal parts on the midline itself).
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
