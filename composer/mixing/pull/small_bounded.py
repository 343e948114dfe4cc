"""A few weights under bounds: min y'Hy / 2 - c'y, low <= y <= high, for a handful of variables.

Block principal pivoting (Júdice and Pires 1994, "A block principal pivoting algorithm for large-scale strictly monotone
linear complementarity problems"): some variables are free and the others at a bound; the free ones are solved for, and
whatever breaks a bound or is pulled off one changes sides, all at once. It ends with the answer after two or three
small systems. Where it goes round in circles, the slower search of `composer.mixing.match_bounded`, which always ends,
takes over.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.mixing.match_bounded import Quadratic, bounded

Floats = NDArray[np.float64]
ROUNDS = 12
"""After so many exchanges the other search takes over. A safety limit; a design choice, no source."""
SLACK = 1e-12
"""How far a gradient may point the wrong way, as a fraction of the largest |c|. A design choice, no source."""


def small_bounded(matrix: Floats, wanted: Floats, low: Floats, high: Floats, start: Floats) -> Floats:
    """(k,) the minimum for a positive definite H `matrix` (k, k) and c `wanted` (k,), within `low` and `high` (k,),
    looked for first with those variables at their bounds that are at `start` (k,), and not at 0."""
    side = np.where(start == 0.0, 0, np.where(start <= low, -1, np.where(start >= high, 1, 0)))  # 0: free
    slack = SLACK * float(np.abs(wanted).max(initial=0.0))
    for _ in range(ROUNDS):
        if not side.any():
            y = np.asarray(np.linalg.solve(matrix, wanted))
            if (y >= low).all() and (y <= high).all():
                return y
        else:
            free = np.flatnonzero(side == 0)
            y = np.where(side < 0, low, np.where(side > 0, high, 0.0))
            if len(free):
                rows = matrix[free]
                y[free] = np.linalg.solve(rows[:, free], wanted[free] - rows @ y)
        gradient = matrix @ y - wanted
        fresh = np.where(side == 0, np.where(y < low, -1, np.where(y > high, 1, 0)), side)
        fresh = np.where(side * gradient > slack, 0, fresh)  # at a bound, and pulled inwards
        if (fresh == side).all():
            return np.asarray(y)
        side = fresh
    problem = Quadratic(
        lambda y: np.asarray(matrix @ y), lambda free, g: np.asarray(np.linalg.solve(matrix[np.ix_(free, free)], g)),
        wanted,
    )  # fmt: skip
    return bounded(problem, low, high, np.zeros(len(wanted)))
