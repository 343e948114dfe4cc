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
    looked for first with those variables at their bounds that are at `start` (k,), and not at 0.

    In plain numbers: for a handful of variables that is several times as quick as arrays.
    """
    rows, right, least, most = matrix.tolist(), wanted.tolist(), low.tolist(), high.tolist()
    every = range(len(right))
    side = [-1 if s != 0.0 and s <= a else 1 if s != 0.0 and s >= b else 0
            for s, a, b in zip(start.tolist(), least, most, strict=True)]  # fmt: skip
    slack = SLACK * max(map(abs, right), default=0.0)
    for _ in range(ROUNDS):
        free, held = [i for i in every if side[i] == 0], [i for i in every if side[i] != 0]
        y = [least[i] if side[i] < 0 else most[i] for i in every]
        left = [[*(rows[i][j] for j in free), right[i] - sum(rows[i][j] * y[j] for j in held)] for i in free]
        for i, value in zip(free, _eliminated(left), strict=True):
            y[i] = value
        settled = True
        for i in free:
            if not least[i] <= y[i] <= most[i]:
                side[i], settled = -1 if y[i] < least[i] else 1, False
        for i in held:
            row = rows[i]
            if side[i] * (sum(row[j] * y[j] for j in every) - right[i]) > slack:  # pulled inwards
                side[i], settled = 0, False
        if settled:
            return np.array(y)
    problem = Quadratic(
        lambda y: np.asarray(matrix @ y), lambda free, g: np.asarray(np.linalg.solve(matrix[np.ix_(free, free)], g)),
        wanted,
    )  # fmt: skip
    return bounded(problem, low, high, np.zeros(len(wanted)))


def _eliminated(rows: list[list[float]]) -> list[float]:
    """The answer of a positive definite system, each row with its right side last. The rows are used up."""
    count = len(rows)
    for k in range(count):
        top = rows[k]
        for i in range(k + 1, count):
            row, factor = rows[i], rows[i][k] / top[k]
            for j in range(k + 1, count + 1):
                row[j] -= factor * top[j]
    answer = [0.0] * count
    for k in reversed(range(count)):
        row = rows[k]
        answer[k] = (row[count] - sum(row[j] * answer[j] for j in range(k + 1, count))) / row[k]
    return answer
