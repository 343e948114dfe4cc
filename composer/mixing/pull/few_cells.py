"""The change of weights that brings the point along, by the recipe's own cells and at most three new ones.

With y the change of weights, J how the point moves, B the pull, and W = diag(1, ACROSS, DEPTH) along the pull, across
it and in depth of the view,

    min (J y - B)'W (J y - B) + a y'M y + b y'S y + STAY y'y,    low <= y <= high

after Lewis and Anjyo 2010, "Direct manipulation blendshapes", whose one penalty on all changes becomes three: on what
moves elsewhere (M), on seams (S), and a small one. The recipe's own cells are solved first; then, three times, the new
cell that lowers the value most by itself is added and all are solved again.

No place may move much further than the point. Where one does, the square of how much further is added for the worst
places, and the solution is computed again: (n_v'u_v - HELD n_p'u_p)^2 with n the direction in which each moves. It is
a quadratic in y, and leaves the point itself free.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.mixing.pull.movements import ELSEWHERE, SEAM, Movements
from composer.mixing.pull.small_bounded import small_bounded

Floats = NDArray[np.float64]
NEW = 3
"""Most cells that a pull adds to the recipe."""
STAY = 1e-3
"""The weight of y'y, mm^2: it decides between cells that do the same. A design choice, no source."""
ACROSS, DEPTH = 1.0, 0.15
"""The weights of what is left across the pull and in depth, against 1 along it: a pull on the screen says nothing of
depth. Chosen on two libraries: 4 across leaves many pulls short."""
FURTHER, HELD_TO = 1.4, 1.33
"""Places that move further than the first multiple of the point are held to the second. Less than the 1.5 that a pull
promises, as weights are rounded and in-betweens bend."""
PUSH, WORST, ROUNDS = 3.0, 6, 8
"""The weight of each place held, how many are added at a time, and how often. Design choices, no source."""
CHOICES = 2
"""In how many of these rounds new cells are chosen afresh. A design choice, no source."""
ENOUGH = 0.03
"""No new cell is looked for where less than this fraction of the pull is left on the screen."""
LEAST_GAIN = 1e-4
"""A new cell must lower the value by more than this fraction of the squared pull. A design choice, no source."""


@dataclass(frozen=True, eq=False)
class Direction:
    """A pull `to` (3,) mm seen along `axes` (3, 3), the rows right, up and back of the view."""

    to: Floats
    axes: Floats

    @property
    def metric(self) -> Floats:
        """(3, 3) W in space."""
        right, up = self.axes[:2] @ self.to
        size = max(float(np.hypot(right, up)), 1e-12)
        along = (right * self.axes[0] + up * self.axes[1]) / size
        across = (right * self.axes[1] - up * self.axes[0]) / size
        back = self.axes[2]
        return np.outer(along, along) + ACROSS * np.outer(across, across) + DEPTH * np.outer(back, back)


@dataclass(frozen=True)
class Costs:
    """Factors on the weights of movement elsewhere (M) and of seams (S)."""

    elsewhere: float = 1.0
    seam: float = 1.0


def few_cells(
    given: Movements, low: Floats, high: Floats, pull: Direction, costs: Costs, new: Sequence[int] | None = None
) -> Floats:
    """(k,) the change of weights within `low` and `high` (k,), by own cells and at most NEW others; `new` are the
    indices of the new cells where they are chosen already."""
    metric = pull.metric
    toward = given.at_point.T @ metric
    base = toward @ given.at_point + STAY * np.eye(len(low))
    base += costs.elsewhere * ELSEWHERE * given.elsewhere + costs.seam * SEAM * given.seam
    wanted = toward @ pull.to
    change = np.zeros(len(low))
    for number in range(ROUNDS):
        if number == CHOICES and new is None:
            new = [int(i) for i in np.flatnonzero(change) if i >= given.own]
        change = _chosen(given, base, wanted, low, high, pull, new)
        rows = _further(given, change)
        if not len(rows):
            break
        base = base + PUSH * rows.T @ rows
    return change


def _chosen(
    given: Movements, matrix: Floats, wanted: Floats, low: Floats, high: Floats, pull: Direction,
    new: Sequence[int] | None,
) -> Floats:  # fmt: skip
    """(k,) the minimum over own cells and new ones, which are found one by one unless they are given."""
    on = list(range(given.own)) + list(new or ())
    change = _solved(matrix, wanted, low, high, on, np.zeros(len(low)))
    if new is not None or given.own == len(low):
        return change
    fresh = slice(given.own, len(low))
    diagonal, least, most = np.diag(matrix)[fresh], low[fresh], high[fresh]
    long = float(pull.to @ pull.to)
    for _ in range(NEW):
        left = pull.axes[:2] @ (pull.to - given.at_point @ change)
        if float(left @ left) < ENOUGH**2 * long:
            break
        slope = wanted[fresh] - matrix[fresh] @ change
        step = np.minimum(np.maximum(slope / diagonal, least), most)
        gain = step * (slope - 0.5 * diagonal * step)
        gain[[i - given.own for i in on[given.own :]]] = 0.0
        best = int(gain.argmax())
        if gain[best] <= LEAST_GAIN * long:
            break
        on.append(given.own + best)
        change = _solved(matrix, wanted, low, high, on, change)
    return change


def _solved(
    matrix: Floats, wanted: Floats, low: Floats, high: Floats, on: Sequence[int], start: Floats
) -> Floats:  # fmt: skip
    """(k,) the minimum over the cells `on`, from an answer `start` (k,) with fewer of them; the others stay."""
    change = np.zeros(len(low))
    if on:
        at = np.asarray(on)
        change[at] = small_bounded(matrix[at][:, at], wanted[at], low[at], high[at], start[at])
    return change


def _further(given: Movements, change: Floats) -> Floats:
    """(r, k) the rows n_v'u_v - HELD_TO n_p'u_p of the places that move too much further than the point."""
    on = np.flatnonzero(change)
    point = given.at_point @ change
    reach = float(np.linalg.norm(point))
    if not len(on) or reach == 0.0:
        return np.zeros((0, len(change)))
    far = np.flatnonzero(given.at_most(change, on) > 0.9 * FURTHER * reach)
    moved = given.moved(change, on, far)
    size = np.sqrt(np.einsum("ij,ij->i", moved, moved))
    if float(size.max(initial=0.0)) <= FURTHER * reach:
        return np.zeros((0, len(change)))
    worst = np.argpartition(-size, min(WORST, len(size) - 1))[:WORST]
    worst = worst[size[worst] > 0.9 * FURTHER * reach]
    way, worst = moved[worst] / size[worst, None], far[worst]
    rows = np.einsum("kvc,vc->vk", given.u[:, worst], way)
    return np.asarray(rows - HELD_TO * (given.at_point.T @ (point / reach)), dtype=np.float64)
