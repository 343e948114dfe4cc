"""The taper that makes the statistics of a few heads local: places far from each other are taken as independent.

Twelve heads say how neighbouring places move together, but any two places of twelve heads are correlated by chance.
Times a Gaussian of the distance, the covariance keeps the first and forgets the second (covariance localisation:
Gaspari and Cohn 1999, "Construction of correlation functions in two and three dimensions").
"""

from __future__ import annotations

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

Rows = NDArray[np.float64]
MOST = 400
"""Most places between which the taper is interpolated (our choice)."""
LEAST_PART = 1e-6
"""Parts of the taper below this share of the largest are left out: rounding (our choice)."""


def spread(positions: Rows, apart: float, most: int = MOST) -> NDArray[np.int64]:
    """(k,) numbers of `positions` (n, 3), each the furthest from those before, until all are nearer than `apart`."""
    chosen = [0]
    away = np.linalg.norm(positions - positions[0], axis=1)
    while away.max() > apart and len(chosen) < most:
        chosen.append(int(away.argmax()))
        away = np.minimum(away, np.linalg.norm(positions - positions[chosen[-1]], axis=1))
    return np.array(chosen, dtype=np.int64)


def taper(positions: Rows, length: float) -> Rows:
    """(n, k) functions f over `positions` (n, 3) mm with f f^T close to exp(-d^2 / 2 length^2), d the distance, and
    exactly 1 on its diagonal. By the Nystroem method from places `length` apart (Williams and Seeger 2001)."""
    centres = positions[spread(positions, length)]
    values, vectors = la.eigh(_gaussian(centres, centres, length))
    kept = values > LEAST_PART * values[-1]
    functions = _gaussian(positions, centres, length) @ (vectors[:, kept] / np.sqrt(values[kept]))
    return functions / np.sqrt((functions**2).sum(1))[:, None]


def _gaussian(one: Rows, other: Rows, length: float) -> Rows:
    square = (one**2).sum(1)[:, None] + (other**2).sum(1)[None] - 2.0 * one @ other.T
    return np.exp(-np.maximum(square, 0.0) / (2.0 * length**2))
