"""A convex quadratic under bounds, by active sets: min y'Hy / 2 - c'y, low <= y <= high.

Variables that stand at a bound and are pushed against it by the gradient are held; the others are free. A face (a set
of free variables) is gone down to its least point by Newton steps, each clipped to the bounds, so that many variables
come to a bound in one step, and shortened along the clipped path where clipping spoils it; then those that the
gradient pulls off their bounds are let go, all at once (the projected search and the growing faces of Moré and
Toraldo 1991, with Newton steps for conjugate gradients). Every step lowers the value, so it ends; begun near the
answer it takes few.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
MOST_FACES, HALVINGS = 300, 30
ENOUGH = 1e-9
"""A gradient, relative to the largest of c, below which a variable rests."""
WHOLE = 0.25
"""A clipped step is taken whole where it brings this part of the fall that the Newton step promised unclipped."""


@dataclass(frozen=True, eq=False)
class Quadratic:
    """H, positive definite, as its two uses: `apply(y)` gives Hy, and `newton(free, g)` solves H_FF d = g for the
    variables `free` (f,), by their numbers; and `c` (m,).
    """

    apply: Callable[[Floats], Floats]
    newton: Callable[[NDArray[np.intp], Floats], Floats]
    c: Floats

    def unbounded(self) -> Floats:
        """(m,) where it is least without bounds."""
        return self.newton(np.arange(len(self.c)), self.c)


def bounded(problem: Quadratic, low: Floats, high: Floats, start: Floats) -> Floats:
    """(m,) the y in [low, high] (m,) where the quadratic is least, begun at `start` (m,), which is clipped first."""
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
    """The least point of a face, or of a part of it that bounds cut out on the way, and the gradient there; y itself
    where rounding leaves no better place."""
    while len(free):
        step = np.zeros_like(y)
        step[free] = -problem.newton(free, gradient[free])
        whole = np.clip(y + step, low, high)
        clipped = not np.array_equal(whole, y + step)
        found = _searched(problem, y, gradient, step, low, high)
        if found is None:
            break
        y, gradient = found
        if not clipped:
            break
        free = free[(y[free] > low[free]) & (y[free] < high[free])]
    return y, gradient


def _searched(
    problem: Quadratic, y: Floats, gradient: Floats, step: Floats, low: Floats, high: Floats
) -> tuple[Floats, Floats] | None:
    """The place to which a step leads, and the gradient there: the whole step, clipped, or the best of its halves.

    None where none of them lowers the value.
    """
    promised = -0.5 * float(step @ gradient)
    best: tuple[float, Floats, Floats] | None = None
    for halving in range(HALVINGS):
        trial = np.clip(y + 0.5**halving * step, low, high)
        there = problem.apply(trial) - problem.c
        fall = -0.5 * float((trial - y) @ (gradient + there))  # exact for a quadratic
        if fall > 0.0 and (best is None or fall > best[0]):
            best = (fall, trial, there)
        elif best is not None:
            break
        if halving == 0 and fall > WHOLE * promised:
            break
    return best[1:] if best is not None else None
