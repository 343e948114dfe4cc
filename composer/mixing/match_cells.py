"""Which cells a take uses: a cell is in for all frames, or out for all.

Cells come in by what they would take away of the sum of squares over the whole take, given those that are in, and go
again where others have made them needless (forward and backward selection; Zhang 2011, "Adaptive Forward-Backward
Greedy Algorithm for Learning Sparse Representations"). Bringing cell j in lowers frame t's sum of squares by g_tj^2 /
S_jj, with g the gradient and S the Schur complement of the cells that are in; taking it out raises it by x_tj^2 /
(G^-1)_jj (Draper and Smith, Applied Regression Analysis, 1998, section 6: the partial F test). Over f frames with noise
of variance v that is v times a chi-square variable with f degrees of freedom. A cell is in where its sum is beyond what
chance gives, and at least the share `sparse` of what is left beyond the noise: so what a library lacks is not made up
by many cells that explain a little of it each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

from composer.mixing.match import Bounds
from composer.mixing.match_bounded import Floats
from composer.mixing.match_over_time import ScaledCells

DEVIATIONS = 5.0
"""Evidence is beyond the mean of the chi-square by this many of its standard deviations."""
LEAST_EVIDENCE = 25.0
"""And beyond this: five standard deviations in one frame."""
SEEN = 0.005
"""A cell of which no frame has as much weight is removed: nobody sees half a percent. Common practice, no source."""
TURNS = 400
"""The most rounds of bringing in and removing; a safety limit."""
AT_A_TIME, ALIKE, NEARLY = 4, 0.3, 0.3
"""At most so many cells come in at a time: those that gain at least NEARLY as much as the best, and of whose movement
less than the share ALIKE is that of one that just came in. It limits time only."""
OUT_AT_A_TIME = 0.25
"""At most this share of the cells goes at a time, of which none could stand in for another that goes: of two that are
alike neither is needed beside the other, but one of them is."""
TOO_ALIKE = 1e-6
"""A cell of which less than this share is its own beside those that are in tells nothing (our choice)."""


@dataclass(frozen=True, eq=False)
class TakeCells:
    """The cells at the places `at` (k,) of the columns, their `weights` (f, k) frame by frame, and `left` mm^2, the sum
    of squares that they leave over the take."""

    at: NDArray[np.intp]
    weights: Floats
    left: float


@dataclass(frozen=True, eq=False)
class TakeSums:
    """A take as the columns see it: `gram` (K, K) mm^2, `onto` (f, K) mm^2, the frames' `squares` (f,) mm^2, the
    number of `coordinates` of a frame, and the `variance` mm^2 of the noise of one, above zero."""

    gram: Floats
    onto: Floats
    squares: Floats
    coordinates: int
    variance: float

    def needed(self, left: float, sparse: float) -> float:
        """mm^2, by how much a cell must lower a sum of squares `left` over the take to be in."""
        frames = len(self.onto)
        chance = max(frames + DEVIATIONS * np.sqrt(2.0 * frames), LEAST_EVIDENCE) * self.variance
        return float(chance + sparse * max(left - self.variance * frames * self.coordinates, 0.0))

    def worth(self, found: TakeCells, sparse: float) -> float:
        """mm^2, what cells leave and what each of them must be worth, together: the less the better."""
        return found.left + len(found.at) * self.needed(found.left, sparse)


def cells_of_take(sums: TakeSums, candidates: NDArray, bounds: Bounds) -> TakeCells:
    """The cells that a take needs; all of `candidates` (places of columns that move something) for a `sparse` of 0."""
    candidates = np.asarray(candidates, dtype=np.intp)
    if not bounds.sparse:
        return cells_alone(sums, candidates, bounds)
    at, weights = np.zeros(0, dtype=np.intp), np.zeros((len(sums.onto), 0))
    left, seen, barred = float(sums.squares.sum()), set[bytes](), np.zeros(0, dtype=np.intp)
    best = TakeCells(at, weights, left)
    for _ in range(TURNS):
        allowed = np.setdiff1d(candidates, np.concatenate([at, barred]))
        new = _coming_in(sums, allowed, at, weights, sums.needed(left, bounds.sparse), bounds)
        if not len(new):
            break
        at = np.concatenate([at, new])
        weights = np.concatenate([weights, np.zeros((len(weights), len(new)))], axis=1)
        at, weights, left = _without_needless(sums, at, weights, bounds)
        state = np.sort(at).tobytes()
        if state in seen:  # bounds took away what they promised
            barred = np.union1d(barred, new)
        seen.add(state)
        other = TakeCells(at, weights, left)
        if sums.worth(other, bounds.sparse) < sums.worth(best, bounds.sparse):
            best = other
    return best


def cells_alone(sums: TakeSums, at: NDArray[np.intp], bounds: Bounds) -> TakeCells:
    """The cells at the places `at`, whether they are needed or not."""
    at, weights = _solved(sums, at, bounds, None)
    return TakeCells(at, weights, _left(sums, at, weights))


def _coming_in(
    sums: TakeSums, rest: NDArray[np.intp], at: NDArray, weights: Floats, needed: float, bounds: Bounds
) -> NDArray[np.intp]:  # fmt: skip
    """The places, among those of the `rest`, of the cells that gain most; none where none gains what is needed."""
    if not len(rest):
        return rest
    own = np.diagonal(sums.gram)[rest]
    shared = np.zeros((len(at), len(rest)))
    if len(at):  # what they do beside those that are in: the Schur complement's diagonal
        scaled = ScaledCells.of(sums.gram[np.ix_(at, at)], bounds.low, bounds.high)
        factor = np.linalg.cholesky(scaled.gram)
        cross = sums.gram[np.ix_(at, rest)] / scaled.length[:, None]
        shared = la.solve_triangular(factor, cross, lower=True)
    beside = own - np.square(shared).sum(axis=0)
    gradient = sums.onto[:, rest] - weights @ sums.gram[np.ix_(at, rest)]
    if bounds.low == 0.0:
        gradient = np.maximum(gradient, 0.0)
    elif bounds.high == 0.0:
        gradient = np.minimum(gradient, 0.0)
    gains = np.where(beside > TOO_ALIKE * own, np.square(gradient).sum(axis=0) / np.maximum(beside, 1e-300), 0.0)
    order = np.argsort(-gains, kind="stable")
    least = max(needed, NEARLY * float(gains[order[0]]))
    chosen: list[int] = []
    for place in order[: 16 * AT_A_TIME]:
        if gains[place] < least or len(chosen) == AT_A_TIME:
            break
        both = sums.gram[rest[place], rest[chosen]] - shared[:, place] @ shared[:, chosen]
        if (np.square(both) < ALIKE**2 * beside[place] * beside[chosen]).all():
            chosen.append(int(place))
    return rest[chosen]


def _without_needless(
    sums: TakeSums, at: NDArray, weights: Floats, bounds: Bounds
) -> tuple[NDArray[np.intp], Floats, float]:  # fmt: skip
    """The cells that are needed, the least significant removed first, with their weights and what they leave."""
    while True:
        at, weights = _solved(sums, at, bounds, weights)
        left = _left(sums, at, weights)
        stays = _needed(sums, at, weights, sums.needed(left, bounds.sparse), bounds)
        if stays.all():
            return at, weights, left
        at, weights = at[stays], weights[:, stays]


def _solved(
    sums: TakeSums, at: NDArray, bounds: Bounds, start: Floats | None
) -> tuple[NDArray[np.intp], Floats]:  # fmt: skip
    """The cells and their weights frame by frame, within the bounds."""
    if not len(at):
        return at, np.zeros((len(sums.onto), 0))
    scaled = ScaledCells.of(sums.gram[np.ix_(at, at)], bounds.low, bounds.high)
    begin = None if start is None else start * scaled.length
    return at, scaled.each_frame(sums.onto[:, at] / scaled.length, begin) / scaled.length


def _left(sums: TakeSums, at: NDArray, weights: Floats) -> float:
    """mm^2, the sum of squares over the take."""
    reached = 2.0 * np.vdot(weights, sums.onto[:, at]) - np.vdot(weights, weights @ sums.gram[np.ix_(at, at)])
    return max(float(sums.squares.sum() - reached), 0.0)


def _needed(sums: TakeSums, at: NDArray, weights: Floats, needed: float, bounds: Bounds) -> NDArray[np.bool_]:
    """(k,) which cells stay, of those that can be removed together."""
    k = len(at)
    if not k:
        return np.ones(0, dtype=bool)
    scaled = ScaledCells.of(sums.gram[np.ix_(at, at)], bounds.low, bounds.high)
    inverse = la.cho_solve(la.cho_factor(scaled.gram, lower=True), np.eye(k))
    alone = np.maximum(np.diagonal(inverse), 1e-300)
    costs = np.square(weights * scaled.length).sum(axis=0) / alone
    stays: NDArray[np.bool_] = np.abs(weights).max(axis=0) >= SEEN
    if not stays.all():
        return stays
    going: list[int] = []
    for place in np.argsort(costs, kind="stable")[: max(int(OUT_AT_A_TIME * k), 1)]:
        if costs[place] >= needed:
            break
        if (np.square(inverse[place, going]) < ALIKE**2 * alone[place] * alone[going]).all():
            going.append(int(place))
    stays[going] = False
    return stays
