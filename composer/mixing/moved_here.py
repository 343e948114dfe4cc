"""How far a shape moves a region: what a person gets who brings it there."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def furthest_within(delta: NDArray, mask: NDArray, partner: NDArray | None = None) -> float:
    """The furthest in mm that a displacement (n, 3) moves anything under a mask (n,) in [0, 1], by mask times movement.
    With `partner` (n,), the mirror map, it is that of the displacement's mirror image; a vertex whose partner is -1 has
    none there."""
    square = np.einsum("ij,ij->i", delta, delta, dtype=np.float64)
    if partner is not None:
        square = np.where(partner >= 0, square[partner], 0.0)
    return float((np.asarray(mask, dtype=np.float64) * np.sqrt(square)).max(initial=0.0))
