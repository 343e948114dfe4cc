"""How exactly landmarks were placed, and how unlike the library the head is, as the landmarks themselves tell it.

Both are found by the marginal likelihood of the landmarks under the prior (Rasmussen and Williams 2006, "Gaussian
Processes for Machine Learning", section 5.4.1), on a grid. What the prior cannot follow counts as noise too.
"""

from __future__ import annotations

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

Rows = NDArray[np.float64]

NOISE = (6.3e-4, 1.05e-3)
"""Bounds of the standard deviation of a placed landmark along an axis, as shares of the diagonal: 0.3 to 0.5 mm on a
head. Within them the fit's error is flat; below them clicks are taken for form."""
UNLIKE = (1.0, 4.0)
"""Bounds of the factor on the prior's differences: a head made by hand may differ several times as much as people do
(our choice)."""
STEPS = 7
"""Values of either that are tried (our choice)."""
ENOUGH = 6
"""With fewer landmarks than this nothing is estimated: the seven amounts of the pose take up most of what they say (our
choice)."""
USUAL = 8.4e-4
"""The deviation that is taken then: 0.4 mm on a head."""


def placed_noise(columns: Rows, wanted: Rows, scale: float) -> tuple[float, float]:
    """The deviation in mm of landmarks along an axis, and the factor on the prior's amounts: the likeliest pair.

    `columns` (k, 3, r) mm are the prior's fields at k landmarks, `wanted` (k, 3) mm their displacements from the mean,
    `scale` the head's diagonal in mm.
    """
    if len(wanted) < ENOUGH:
        return USUAL * scale, 1.0
    flat = columns.reshape(-1, columns.shape[2])
    values, vectors = la.eigh(flat @ flat.T)
    square = (vectors.T @ wanted.ravel()) ** 2
    best = (np.inf, USUAL * scale, 1.0)
    for noise in np.geomspace(*NOISE, STEPS) * scale:
        for unlike in np.geomspace(*UNLIKE, STEPS):
            variance = np.maximum(values, 0.0) * unlike**2 + noise**2
            cost = float((square / variance + np.log(variance)).sum())
            if cost < best[0]:
                best = cost, float(noise), float(unlike)
    return best[1], best[2]
