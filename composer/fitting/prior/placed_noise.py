"""How exactly landmarks were placed, and how unlike the library the head is, as the landmarks themselves tell it.

Both are found by the marginal likelihood of the landmarks under the prior (Rasmussen and Williams 2006, "Gaussian
Processes for Machine Learning", section 5.4.1), on a grid. What the prior cannot follow counts as noise too.
"""

from __future__ import annotations

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

Rows = NDArray[np.float64]

TRIED = (4.2e-4, 6e-3)
"""Range of deviations that are tried, as shares of the diagonal: 0.2 to 3 mm on a head. Above a hand's own deviation
stands what the prior cannot follow. Smaller ones are not tried: many heads meet eight landmarks exactly, and with 0.01
mm what lies between them went up to 1.3 times as far astray."""
MOST = 1.05e-3
"""Largest deviation along an axis with which landmarks then pull, 0.5 mm on a head: with 0.3 to 0.5 the error of fits
through clicked and through exact landmarks is flat."""
UNLIKE = (1.0, 8.0)
"""Range of the factor on the prior's differences that is tried: a head made by hand may differ several times as much as
people do. It counts only where the landmarks are then met within MOST (our choice)."""
CLEAR = 10.0
"""Twice the logarithm of how much likelier a head unlike the library has to be to count: "very strong" evidence (Kass
and Raftery 1995, "Bayes factors", section 3.2). Below it one person's face erred by 1.6 mm instead of 1.2."""
STEPS = 20
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
    noises, factors = np.geomspace(*TRIED, STEPS) * scale, np.geomspace(*UNLIKE, STEPS)
    variance = np.maximum(values, 0.0) * factors[:, None, None] ** 2 + noises[:, None] ** 2
    cost = (square / variance + np.log(variance)).sum(axis=2)
    factor, noise = divmod(int(cost.argmin()), cost.shape[1])
    if noises[noise] > MOST * scale or cost[0].min() - cost[factor, noise] < CLEAR:
        factor, noise = 0, int(cost[0].argmin())
    return min(float(noises[noise]), MOST * scale), float(factors[factor])


def left_out(columns: Rows, wanted: Rows, noise: float) -> tuple[Rows, Rows]:
    """(k,) mm, how far each of k landmarks lies from where the prior foretells it from the others, and (k,) the same in
    the deviations that the prior expects there; both (0,) where there are fewer than ENOUGH. Arguments as in
    `placed_noise`; `noise` is the deviation in mm.

    In closed form (Rasmussen and Williams 2006, section 5.4.2), for the three numbers of a landmark together. By the
    second a single landmark that was put astray always stands first, by the first its neighbours may: they are foretold
    from it (mean shift of one case: Cook and Weisberg 1982, "Residuals and Influence in Regression", section 2.2.2).
    """
    k = len(wanted)
    if k < ENOUGH:
        return np.zeros(0), np.zeros(0)
    flat = columns.reshape(3 * k, -1)
    inverse = la.inv(flat @ flat.T + noise**2 * np.eye(3 * k))
    told = inverse @ wanted.ravel()
    blocks = inverse.reshape(k, 3, k, 3)[np.arange(k), :, np.arange(k)]
    off = np.linalg.solve(blocks, told.reshape(k, 3, 1))[:, :, 0]
    unlikely = np.sqrt(np.maximum((off * told.reshape(k, 3)).sum(axis=1), 0.0))
    return np.linalg.norm(off, axis=1), unlikely
