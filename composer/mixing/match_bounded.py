"""A convex quadratic under bounds, by active sets: min y'Hy / 2 - c'y, low <= y <= high.

A variable at a bound is held if the gradient pushes it outwards; the others are free. On each face (set of free
variables) Newton steps lead to the minimum. A step is clipped to the bounds, so that many variables reach a bound at
once, and halved along the clipped path if clipping loses too much of its decrease. Then all variables that the gradient
pulls off their bounds are freed at once. This is the projected search and face exploration of Moré and Toraldo (1991),
with Newton steps in place of conjugate gradients. Every step lowers the value, so the method ends. From a start near
the answer it takes few steps.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
MOST_FACES, HALVINGS = 300, 30
"""The most faces visited, and the most halvings of one step. Both are safety limits; a design choice, no source."""
ENOUGH = 1e-9
"""The search ends where no free gradient exceeds this fraction of the largest |c|. A design choice, no source."""
WHOLE = 0.25
"""A clipped step is accepted without halving if it gives this fraction of the decrease that the unclipped Newton step
predicts. Common practice in line searches, no source.
"""


@dataclass(frozen=True, eq=False)
class Quadratic:
    """A positive definite H as two functions, and `c` (m,). `apply(y)` is Hy; `newton(free, g)` solves H_FF d = g for
    the variables with indices `free` (f,).
    """

    apply: Callable[[Floats], Floats]
    newton: Callable[[NDArray[np.intp], Floats], Floats]
    c: Floats

    def unbounded(self) -> Floats:
        """(m,) the minimum without bounds."""
        return self.newton(np.arange(len(self.c)), self.c)


def bounded(problem: Quadratic, low: Floats, high: Floats, start: Floats) -> Floats:
    """(m,) the minimum within `low` and `high` (m,). The search starts at `start` (m,), clipped to the bounds."""
    y = np.clip(start, low, high)
    gradient = problem.apply(y) - problem.c
    enough = ENOUGH * float(np.abs(problem.c).max(initial=0.0))
    for _ in range(MOST_FACES):
        held = ((y <= low) & (gradient > -enough)) | ((y >= high) & (gradient < enough))
        free = np.flatnonzero(~held)
        if np.abs(gradient[free]).max(initial=0.0) <= enough:
            break
        before = y
        y, gradient = _face(problem, y, gradient, free, low, high)
        if y is before:
            break
    return y


def _face(
    problem: Quadratic, y: Floats, gradient: Floats, free: NDArray[np.intp], low: Floats, high: Floats
) -> tuple[Floats, Floats]:
    """The minimum on a face, or on the smaller face that steps reach at new bounds, and the gradient there; y itself
    where rounding allows no decrease."""
    while len(free):
        step = np.zeros_like(y)
        step[free] = -problem.newton(free, gradient[free])
        whole = np.clip(y + step, low, high)
        clipped = not np.array_equal(whole, y + step)
        searched = _searched(problem, y, gradient, step, low, high)
        if searched is None:
            break
        y, gradient = searched
        if not clipped:
            break
        free = free[(y[free] > low[free]) & (y[free] < high[free])]
    return y, gradient


def _searched(
    problem: Quadratic, y: Floats, gradient: Floats, step: Floats, low: Floats, high: Floats
) -> tuple[Floats, Floats] | None:
    """The end of a step and the gradient there: of the whole step, clipped, or of the best of its halvings.

    None where none of them lowers the value.
    """
    promised = -0.5 * float(step @ gradient)
    best: tuple[float, Floats, Floats] | None = None
    for halving in range(HALVINGS):
        trial = np.clip(y + 0.5**halving * step, low, high)
        trial_gradient = problem.apply(trial) - problem.c
        fall = -0.5 * float((trial - y) @ (gradient + trial_gradient))  # exact for a quadratic
        if fall > 0.0 and (best is None or fall > best[0]):
            best = (fall, trial, trial_gradient)
        elif best is not None:
            break
        if halving == 0 and fall > WHOLE * promised:
            break
    return best[1:] if best is not None else None
