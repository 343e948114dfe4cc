"""How noisy frames are, told from the frames themselves, and how smooth weights have to be for it.

What is not noise goes on from frame to frame; noise does not. So the noise is told from second differences over time of
what the cells cannot explain: white noise of variance v has second differences of variance 6 v (1 + 4 + 1), while what
the library lacks, and stays, cancels.

The penalty on a cell's second differences is the ratio of the noise's variance to that of the second differences that
the cell really makes: then the smooth weights are the most likely ones under both (the maximum a posteriori of a
Gaussian prior on second differences). What the cell makes is told by the method of moments: the variance of the second
differences of its weights frame by frame, less the share that noise alone gives them, 6 v (G^-1)_ii. A blink is no part
of a slow movement's variance: where a second difference is beyond three standard deviations of the noise, the movement
turns there, and the penalty gives way to what is beyond.
"""

from __future__ import annotations

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

from composer.mixing.match_bounded import Floats
from composer.mixing.match_over_time import ScaledCells, second_differences

OF_WHITE = 6.0
"""The variance of second differences of white noise of variance 1."""
LEAST_REAL = 0.02
"""At least this share of what noise gives to a cell's second differences is taken for its own: from some hundred frames
less cannot be told (our choice)."""
TURNS = 3.0
"""A second difference beyond so many standard deviations of the noise is a turn of the movement (common practice)."""


def noise_variance(scaled: ScaledCells, c: Floats, bent: Floats, coordinates: int) -> float:
    """mm^2, the variance of one coordinate of the frames' noise, the median over the take; 0 for fewer than three.

    `c` (f, k) mm are what the frames give the scaled cells, `bent` (f - 2,) mm^2 the squared lengths of the frames'
    second differences. `coordinates` is the number of values of a frame.
    """
    if len(c) < 3:
        return 0.0
    second = c[:-2] - 2.0 * c[1:-1] + c[2:]
    if len(scaled.gram):
        factor = la.cho_factor(scaled.gram, lower=True, check_finite=False)
        bent = bent - np.einsum("fk,kf->f", second, la.cho_solve(factor, second.T, check_finite=False))
    free = max(coordinates - len(scaled.gram), 1)
    return float(max(np.median(bent) / (OF_WHITE * free), 0.0))


def penalties(scaled: ScaledCells, found: Floats, variance: float, times: NDArray) -> Floats:
    """(f - 2, k) the penalty on each second difference of each scaled weight, from the weights `found` (f, k) frame by
    frame at `times` (f,) s, under noise of `variance` mm^2. Noise of 0 has no penalty."""
    frames, k = found.shape
    if variance <= 0.0 or frames < 3 or not k:
        return np.zeros((max(frames - 2, 0), k))
    bends = second_differences(times)
    second = np.square(sum(bends[:, j, None] * found[j : frames - 2 + j] for j in range(3)))
    inverse = np.diagonal(la.cho_solve(la.cho_factor(scaled.gram, lower=True), np.eye(k)))
    of_noise = OF_WHITE * variance * inverse
    moving = (second > 0.0).sum(axis=0)  # frames at rest tell nothing
    slow = np.minimum(second, TURNS**2 * of_noise).sum(axis=0) / np.maximum(moving, 1)
    real = np.maximum(slow - of_noise, LEAST_REAL * of_noise)
    turned = np.maximum(second - TURNS**2 * of_noise, 0.0)
    turned[1:-1] = np.maximum(turned[1:-1], np.maximum(turned[:-2], turned[2:]))  # a turn lies between frames
    found_penalties: Floats = variance / np.maximum(real, turned)
    return found_penalties
