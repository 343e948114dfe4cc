"""The cage whose subdivision is nearest to values at a finer level, by least squares.

With S the subdivision to the level and t the values there, it is the x with S'S x = S't. S is made of factors, so the
normal equations are solved by conjugate gradients (Hestenes and Stiefel 1952), each column of t on its own,
without composing S. The remainder t - S x is the part of a sculpt that its cage cannot represent: the detail.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.head.levels import Refinement, refine

STEPS, ENOUGH = 200, 1e-10
"""The most steps of conjugate gradients, and the residual relative to the first at which they end. The condition of S'S
is small, so that fewer steps suffice.
"""


def nearest_cage(values: NDArray, steps: Sequence[Refinement]) -> NDArray[np.float64]:
    """(n_0, c) values at the cage for `values` (n_k, c) at the level of `steps`; without steps, `values`.

    Conjugate gradients end where the residual has fallen to 1e-10 of the first, or after 200 steps.
    """
    values = np.asarray(values, dtype=np.float64)
    if not steps:
        return values.copy()
    residual = _back(values, steps)
    x, along = np.zeros_like(residual), residual.copy()
    size = np.einsum("ij,ij->j", residual, residual)
    enough = ENOUGH**2 * size
    for _ in range(STEPS):
        if np.all(size <= enough):
            break
        image = _back(refine(along, steps), steps)
        bend = np.einsum("ij,ij->j", along, image)
        by = np.divide(size, bend, out=np.zeros_like(size), where=bend > 0)
        x += by * along
        residual -= by * image
        before, size = size, np.einsum("ij,ij->j", residual, residual)
        along = residual + np.divide(size, before, out=np.zeros_like(size), where=before > 0) * along
    return x


def _back(values: NDArray, steps: Sequence[Refinement]) -> NDArray[np.float64]:
    """(n_0, c) the transpose of the subdivision, applied."""
    for step in reversed(steps):
        values = step.matrix.T @ values
    return values
