"""Matching: the weights of cells whose pose comes nearest to a target, by bounded least squares.

For rows that add and plain shapes a pose is linear in the weights, P - N = A x with a column e_r D_s for every region
and shape. So |A x - b|^2 needs A only as the Gram matrix A'A, computed once, and A'b, one pass over the columns. A
column is zero where its region's mask is, so A is stored as one block a region. Columns that move nothing are left
out. Each of the others is scaled to length one, and a ridge splits weight evenly among columns that are alike.
`composer.mixing.match_bounded` then finds the weights.

A sparse match adds a penalty on the sum of the scaled weights, a fraction of the penalty at which all weights are zero
(Tibshirani 1996). It selects the cells; their weights are then solved again without the penalty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.mixing.linear import Mixer
from composer.mixing.match_block import MatchBlock
from composer.mixing.match_bounded import Floats, Quadratic, bounded
from composer.mixing.recipe import ALL, WEIGHT_RANGE, CellKey

RIDGE = 1e-10
"""Added to the diagonal of the scaled Gram matrix, whose diagonal is 1: large enough for a Cholesky factor in float64,
too small to change a weight that a person sees. A design choice, no source.
"""
DEAD = 1e-6
"""A column is dead if its length over all vertices is at most this fraction of the head's diagonal. A design choice, no
source.
"""
DEPENDENT = 1e-10
"""A column counts as dependent for each eigenvalue of the scaled Gram matrix below this fraction of the largest, which
is a condition number of 1e5 of the columns. A design choice, no source.
"""
HELD_BYTES = 512 * 2**20
"""Columns of up to so many bytes are held; larger ones are made part by part as they are used (our choice)."""
LEAST = 1e-9
"""A sparse match drops a cell whose weight is below this. It is far below the weights that documents store and above
rounding of the solver. A design choice, no source.
"""


@dataclass(frozen=True)
class Bounds:
    """The range of weights, `low` <= 0 <= `high` within [-1, 2], and the sparse penalty from 0 (none) to below 1.

    Raises MoueError for values outside these.
    """

    low: float = 0.0
    high: float = 1.0
    sparse: float = 0.0

    def __post_init__(self) -> None:
        if not WEIGHT_RANGE[0] <= self.low <= 0.0 <= self.high <= WEIGHT_RANGE[1] or self.low == self.high:
            hint = "give bounds within [-1, 2] with 0 between them"
            raise MoueError(f"weights from {self.low:g} to {self.high:g} cannot be matched", hint=hint)
        if not 0.0 <= self.sparse < 1.0:
            raise MoueError(f"sparse {self.sparse:g} is not from 0 to below 1")


@dataclass(frozen=True)
class Conditioning:
    """How well a pose determines the weights.

    `number` is the condition number of the columns, each scaled to length one (infinity where some are dependent),
    `dependent` the number of columns that others can replace, `dead` the number that move nothing, of `columns` in all.
    """

    number: float
    dependent: int
    dead: int
    columns: int

    @property
    def words(self) -> str:
        """One sentence for a person."""
        said = f"{self.columns} cells could be used"
        if self.dead:
            said += f", {self.dead} of them move nothing"
        if self.dependent:
            return f"{said}; {self.dependent} can be replaced by others, so the weights are one of many answers."
        return f"{said}; condition {self.number:.3g}."


class Columns:
    """The columns of some regions and shapes on some vertices, for any number of targets.

    >>> from composer.geometry.polygons import Polygons
    >>> from composer.head.head import Head, Shape
    >>> lift, drop = (np.array([[0, y, 0]] * 3, dtype=np.float32) * [[1], [i], [0]] for y, i in ((2, 0), (-2, 1)))
    >>> head = Head("h", Polygons.from_faces([[0, 1, 2]], 3), np.eye(3), (Shape("lift", lift), Shape("drop", drop)))
    >>> columns = Columns(Mixer(head, {}), [ALL], ["lift", "drop"])
    >>> found = columns.weights(columns.onto(0.7 * lift + 0.2 * drop), Bounds())
    >>> dict(zip([shape for _, shape, _ in columns.keys], found.round(6).tolist()))
    {'lift': 0.7, 'drop': 0.2}
    """

    def __init__(
        self, mixer: Mixer, regions: Sequence[str], shapes: Sequence[str], vertices: NDArray | None = None
    ) -> None:
        """`vertices` (m,) are those that count, by default all. Raises MoueError for an unknown region or shape."""
        self.mixer, self.shapes = mixer, list(shapes)
        n = mixer.head.n_vertices
        counts = np.ones(n, dtype=bool) if vertices is None else np.zeros(n, dtype=bool)
        if vertices is not None:
            counts[vertices] = True
        deltas = [mixer.head.shape(name).delta for name in self.shapes]
        masks = [np.ones(n) if region == ALL else mixer.masks[region] for region in regions]
        places = [np.flatnonzero((mask != 0.0) & counts) for mask in masks]
        held = 24 * len(deltas) * sum(map(len, places)) <= HELD_BYTES
        along = [mixer.standing.rows(at, mask) for mask, at in zip(masks, places, strict=True)]
        self._blocks = [
            MatchBlock(at, mask[at], deltas, held, beyond)
            for mask, at, beyond in zip(masks, places, along, strict=True)
        ]
        self.keys: list[CellKey] = [(region, shape, False) for region in regions for shape in self.shapes]
        self.index = {key: i for i, key in enumerate(self.keys)}

    @property
    def nbytes(self) -> int:
        """Bytes of the columns."""
        return sum(one.nbytes for one in self._blocks)

    @cached_property
    def gram(self) -> Floats:
        """(k, k) A'A in mm^2, in the order of `keys`: region by region, shapes within."""
        s = len(self.shapes)
        gram = np.zeros((len(self.keys), len(self.keys)))
        place = np.full(self.mixer.head.n_vertices, -1)
        for i, one in enumerate(self._blocks):
            place[one.vertices] = np.arange(len(one.vertices))
            gram[i * s : (i + 1) * s, i * s : (i + 1) * s] = one.with_itself()
            for j in range(i):
                part = one.with_other(self._blocks[j], place)
                if part is not None:
                    gram[i * s : (i + 1) * s, j * s : (j + 1) * s] = part
                    gram[j * s : (j + 1) * s, i * s : (i + 1) * s] = part.T
            place[one.vertices] = -1
        return gram

    @cached_property
    def lengths(self) -> Floats:
        """(k,) the length of every column in mm, over all vertices."""
        return np.sqrt(np.diagonal(self.gram))

    @cached_property
    def alive(self) -> NDArray[np.bool_]:
        """(k,) whether a column moves anything."""
        moves: NDArray[np.bool_] = self.lengths > DEAD * self.mixer.head.diagonal
        return moves

    @cached_property
    def conditioning(self) -> Conditioning:
        """How well any target determines the weights; it depends on the columns alone."""
        on = np.flatnonzero(self.alive)
        if not len(on):
            return Conditioning(1.0, 0, len(self.keys), len(self.keys))
        scale = self.lengths[on]
        values = la.eigvalsh(self.gram[np.ix_(on, on)] / np.outer(scale, scale))
        dependent = int(np.count_nonzero(values < DEPENDENT * values[-1]))
        number = float("inf") if dependent else float(np.sqrt(values[-1] / values[0]))
        return Conditioning(number, dependent, len(self.keys) - len(on), len(self.keys))

    def onto(self, b: NDArray) -> Floats:
        """(k,) A'b of a displacement (n, 3) in mm."""
        parts = [one.onto(b) for one in self._blocks]
        return np.concatenate(parts) if parts else np.zeros(0)

    def displacement(self, weights: Floats) -> Floats:
        """(n, 3) mm, A x at the vertices that count, zero at the others."""
        total = np.zeros((self.mixer.head.n_vertices, 3))
        s = len(self.shapes)
        for i, one in enumerate(self._blocks):
            region_weights = weights[i * s : (i + 1) * s]
            if region_weights.any():
                total[one.vertices] += one.moved(region_weights)
        return total

    def weights(
        self, c: Floats, bounds: Bounds, start: Floats | None = None, allowed: NDArray[np.bool_] | None = None,
        ties: Sequence[tuple[int, int]] = (),
    ) -> Floats:  # fmt: skip
        """(k,) the weights whose pose comes nearest to the displacement of which `c` (k,) is A'b.

        The search starts at `start` (k,). Cells that are not `allowed` (k,) stay at zero. `ties` are pairs of indices
        into `keys` whose cells get the same weight.
        """
        usable = self.alive if allowed is None else self.alive & allowed
        on = np.flatnonzero(usable)
        if not len(on):
            return np.zeros(len(self.keys))
        group = _groups(on, ties)
        count = int(group.max()) + 1
        gram, scale = self._all if len(on) == count == int(self.alive.sum()) else self._scaled(on, group)
        projected = np.bincount(group, c[on]) / scale
        begin = None
        if start is not None:
            begin = np.zeros(count)
            begin[group] = start[on]
            begin *= scale
        problem, low, high = _quadratic(gram, projected), bounds.low * scale, bounds.high * scale
        if bounds.sparse:
            scaled = _sparse(gram, projected, bounds, scale, begin)
        else:
            scaled = bounded(problem, low, high, problem.unbounded() if begin is None else begin)
        weights = np.zeros(len(self.keys))
        weights[on] = np.clip(scaled / scale, bounds.low, bounds.high)[group]
        return weights

    @cached_property
    def _all(self) -> tuple[Floats, Floats]:
        on = np.flatnonzero(self.alive)
        return self._scaled(on, np.arange(len(on)))

    def _scaled(self, on: NDArray, group: NDArray) -> tuple[Floats, Floats]:
        """The Gram matrix of the variables scaled to length one, with the ridge, and their lengths before."""
        gram = self.gram[np.ix_(on, on)]
        if int(group.max()) + 1 < len(on):
            gathered = np.zeros((int(group.max()) + 1, len(on)))
            gathered[group, np.arange(len(on))] = 1.0
            gram = gathered @ gram @ gathered.T
        scale = np.sqrt(np.diagonal(gram))
        gram = gram / scale[:, None] / scale
        gram[np.diag_indices(len(gram))] += RIDGE
        return gram, scale


def _sparse(gram: Floats, c: Floats, bounds: Bounds, scale: Floats, start: Floats | None) -> Floats:
    """Few scaled weights: selected with a penalty on their sum, then solved without it.

    Where weights may be negative, each is the difference of two that are not.
    """
    penalty = bounds.sparse * float(np.abs(c).max(initial=0.0))
    low, high = bounds.low * scale, bounds.high * scale
    start = np.zeros(len(c)) if start is None else start
    if bounds.low < 0.0:
        both = np.block([[gram, -gram], [-gram, gram]])
        both[np.diag_indices(len(both))] += RIDGE
        begin = np.concatenate([np.maximum(start, 0.0), np.maximum(-start, 0.0)])
        least, most = np.zeros(2 * len(c)), np.concatenate([high, -low])
        pair = bounded(_quadratic(both, np.concatenate([c, -c]) - penalty), least, most, begin)
        chosen = pair[: len(c)] - pair[len(c) :]
    else:
        chosen = bounded(_quadratic(gram, c - penalty), low, high, start)
    keep = np.flatnonzero(np.abs(chosen) > LEAST * scale)
    scaled = np.zeros(len(c))
    if len(keep):
        part = _quadratic(gram[np.ix_(keep, keep)], c[keep])
        scaled[keep] = bounded(part, low[keep], high[keep], chosen[keep])
    return scaled


def _quadratic(gram: Floats, c: Floats) -> Quadratic:
    def newton(free: NDArray[np.intp], g: Floats) -> Floats:
        part = gram if len(free) == len(gram) else gram[np.ix_(free, free)]
        step: Floats = la.cho_solve(la.cho_factor(part, lower=True, check_finite=False), g, check_finite=False)
        return step

    return Quadratic(lambda y: gram @ y, newton, c)


def _groups(on: NDArray, ties: Sequence[tuple[int, int]]) -> NDArray[np.int64]:
    """(len(on),) the variable of each column in use; tied columns have the same."""
    first = {int(at): int(at) for at in on}
    for a, b in ties:
        if a in first and b in first:
            low, high = sorted((first[a], first[b]))
            first = {at: low if leader == high else leader for at, leader in first.items()}
    return np.unique([first[int(at)] for at in on], return_inverse=True)[1].reshape(-1)
