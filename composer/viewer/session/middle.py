"""The vertex in the middle of a region."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head


def middle_of(head: Head, mask: NDArray) -> int:
    """The vertex of the skin with most weight in a mask (n,) nearest to the weighted middle of all; 0 without any."""
    inside = np.flatnonzero((mask > 0.6 * float(mask.max(initial=0.0))) & head.skin)
    if not len(inside):
        return 0
    points = head.neutral[inside]
    away = points - np.average(points, axis=0, weights=mask[inside] + 1e-9)
    return int(inside[np.argmin(np.einsum("ij,ij->i", away, away))])
