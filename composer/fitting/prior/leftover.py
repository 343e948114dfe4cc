"""What the landmarks still ask for after the rounds: a local correction, where they agree on one.

The prior cannot follow everything that landmarks and curves say. What is left at them is either common to neighbours,
and then form that the prior does not know, or it is not, and then it is how a hand placed them. A Gaussian process of
short length beside white noise tells the one from the other: amplitude, length and noise are the likeliest (Rasmussen
and Williams 2006, "Gaussian Processes for Machine Learning", section 5.4.1). Clicks of a hand are corrected by nothing.
"""

from __future__ import annotations

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

Rows = NDArray[np.float64]

LENGTHS = (0.02, 0.04, 0.08)
"""Lengths of the correction that are tried, as shares of the head's diagonal: 10 to 40 mm on a head (our choice)."""
RATIOS = (0.1, 0.2, 0.4, 0.8, 1.6, 3.2)
"""Ratios of noise to amplitude that are tried (our choice)."""
ENOUGH = 12
"""With fewer landmarks and places of curves nothing is corrected (our choice)."""
CLEAR = 6.0
"""The correction is made where it is this much likelier, in log likelihood, than noise alone: two amounts and a length
are chosen for it (by Akaike's criterion 3 would do; our choice is more careful)."""


def leftover(places: Rows, residual: Rows, at: Rows, scale: float) -> Rows:
    """(s, 3) mm, the correction at `at` (s, 3) mm by what is left, `residual` (k, 3) mm, at `places` (k, 3) mm; zeros
    where neighbours do not agree. `scale` is the head's diagonal in mm."""
    k = len(places)
    if k < ENOUGH or not residual.any():
        return np.zeros_like(at)
    alone = 0.5 * residual.size * np.log((residual**2).mean())
    least, chosen = alone - CLEAR, 0.0
    pull = np.zeros_like(residual)
    for length in LENGTHS:
        values, vectors = la.eigh(_kernel(places, places, length * scale))
        values, turned = np.maximum(values, 0.0), vectors.T @ residual
        for ratio in RATIOS:
            spectrum = values + ratio**2
            power = float((turned**2 / spectrum[:, None]).mean())
            cost = 0.5 * residual.size * np.log(power) + 1.5 * float(np.log(spectrum).sum())
            if cost < least:
                least, chosen, pull = cost, length * scale, vectors @ (turned / spectrum[:, None])
    return _kernel(at, places, chosen) @ pull if chosen > 0.0 else np.zeros_like(at)


def _kernel(one: Rows, other: Rows, length: float) -> Rows:
    square = (one**2).sum(1)[:, None] + (other**2).sum(1)[None] - 2.0 * one @ other.T
    return np.exp(-np.maximum(square, 0.0) / (2.0 * length**2))
