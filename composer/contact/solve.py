"""The smallest smooth correction of a patch that gives pairs and single rows what they lack.

A pair says: this vertex, less the place across from it, is to move by `lack`, a vector. A line says the same along one
direction, of a vertex alone or less a place across. With S (rows by pushed vertices), the response's energy G and the
lines' directions n, the least pushes for what counts c are those of the regularised least squares in the dual,

    f = S' (S G S' o n n' + firm / c)^-1 lack

in which the three axes of the pairs part, so that their system is as large as the pairs are many; lines are solved on
what the pairs leave (Schur complement). Lines that say `at least` have multipliers that are not negative: block
principal pivoting (Kim and Park, Fast nonnegative matrix factorization: an active-set-like method and comparisons,
2011).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve

from composer.contact.across import Across
from composer.contact.patch import Response

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
FIRM = 0.02
"""What a row that counts 1 gives way, beside a typical push's own answer of 1."""
MOST_ROWS = 1500
"""Rows of a kind that are solved at once; of more, every second, third and so on is taken."""


@dataclass(frozen=True, eq=False)
class PairRows:
    """Pairs (p,): the places `across`, what each lacks, (p, 3) mm, and how much it `counts` (p,), in (0, 1]."""

    across: Across
    lack: Floats
    counts: Floats

    @property
    def square(self) -> float:
        """What is lacking, squared and summed as it counts, mm^2."""
        return float(self.counts @ (self.lack**2).sum(axis=1))

    @property
    def most(self) -> float:
        """The most that any pair lacks as it counts, mm."""
        return float((self.counts * np.linalg.norm(self.lack, axis=1)).max(initial=0.0))


@dataclass(frozen=True, eq=False)
class LineRows:
    """Lines (b,): `vertices` of the patch, the places `across` from them or None, `directions` (b, 3), `lack` (b,) mm
    along them, `counts` (b,) in (0, 1], and the largest multiplier that each may have, `bound` (b,), or None."""

    vertices: Ints
    across: Across | None
    directions: Floats
    lack: Floats
    counts: Floats
    bound: Floats | None = None

    @property
    def square(self) -> float:
        """What is lacking, squared and summed as it counts, mm^2."""
        return float(self.counts @ self.lack**2)

    @property
    def most(self) -> float:
        """The most that any line lacks as it counts, mm."""
        return float((self.counts * np.abs(self.lack)).max(initial=0.0))


def least_field(
    response: Response, pairs: PairRows | None, lines: LineRows | None, at_least: bool = False, firm: float = FIRM
) -> Floats:  # fmt: skip
    """(m, 3) mm, the smallest correction of a patch that gives `pairs` and `lines` what they lack; with `at_least`,
    lines get no less. A row gives way by `firm` over what it counts.
    """
    push = np.zeros((len(response.pushed), 3))
    energy = response.energy
    if pairs is not None:
        chosen = _some(len(pairs.counts))
        place = pairs.across.some(chosen)
        take = _matrix(response, place.vertices, place)
        felt = np.asarray(take @ (take @ energy).T)
        felt[np.diag_indices(len(chosen))] += firm / pairs.counts[chosen]
        factor = cho_factor(felt, overwrite_a=True, check_finite=False)
        pull = cho_solve(factor, pairs.lack[chosen], check_finite=False)
        push += take.T @ pull
    if lines is not None and len(lines.lack):
        chosen = _some(len(lines.lack))
        n, lack = lines.directions[chosen], lines.lack[chosen]
        other = _matrix(response, lines.vertices[chosen], None if lines.across is None else lines.across.some(chosen))
        spread = np.asarray(other @ energy)
        own = np.asarray(other @ spread.T)
        lack = lack - np.einsum("bi,bi->b", n, spread @ push)
        if pairs is not None:
            both = np.asarray(take @ spread.T)
            left = cho_solve(factor, both, check_finite=False)
            own -= both.T @ left
        own = 0.5 * (own + own.T) * (n @ n.T)
        own[np.diag_indices(len(chosen))] += firm / lines.counts[chosen]
        along = (not_negative(own, lack) if at_least else solve(own, lack, assume_a="pos"))[:, None] * n
        push += other.T @ along
        if pairs is not None:
            push -= take.T @ (left @ along)
    on = np.flatnonzero(push.any(axis=1))
    return np.asarray(response.field[:, on] @ push[on])


def _some(count: int) -> Ints:
    """Which of `count` rows are solved: all, or every second, third and so on of too many."""
    return np.arange(0, count, max(-(-count // MOST_ROWS), 1))


def not_negative(matrix: Floats, wanted: Floats, rounds: int = 90, begin: Floats | None = None) -> Floats:
    """(r,) x >= 0 that makes x' matrix x / 2 - wanted' x least, for a symmetric positive definite matrix (r, r). A
    guess to `begin` at (r,) changes the time alone."""
    return within_bounds(matrix, wanted, np.full(len(wanted), np.inf), rounds, begin)


def within_bounds(
    matrix: Floats, wanted: Floats, most: Floats, rounds: int = 90, begin: Floats | None = None
) -> Floats:  # fmt: skip
    """The same with x <= `most` (r,), which may be infinite (block principal pivoting for bounds on both sides: Judice
    and Pires, A block principal pivoting algorithm for large-scale strictly monotone linear complementarity problems,
    1994)."""
    n = len(wanted)
    guess = wanted if begin is None or not begin.any() else begin
    full = (guess is begin) & (guess > 0.0) & (guess >= most)
    on = (guess > 0.0) & ~full
    fewest, tries = n + 1, 3
    small = 1e-9 * max(float(np.abs(wanted).max(initial=0.0)), np.finfo(float).tiny)
    found = np.zeros(n)
    for _ in range(rounds):
        found = np.where(full, most, 0.0) if full.any() else np.zeros(n)
        at = np.flatnonzero(on)
        if len(at):
            asked = wanted[at] - matrix[np.ix_(at, np.flatnonzero(full))] @ most[full] if full.any() else wanted[at]
            factor = cho_factor(matrix[np.ix_(at, at)], overwrite_a=True, check_finite=False)
            found[at] = cho_solve(factor, asked, check_finite=False)
        slope = matrix @ found - wanted
        low, high = on & (found < -small), on & (found > most + small)
        back = (full & (slope > small)) | (~on & ~full & (slope < -small))
        wrong = low | high | back
        count = int(wrong.sum())
        if count == 0:
            break
        if count < fewest:
            fewest, tries = count, 3
        elif tries > 0:
            tries -= 1
        else:  # one at a time cannot run in circles
            last = np.flatnonzero(wrong)[-1]
            wrong = np.zeros(n, dtype=bool)
            wrong[last] = True
        on, full = on ^ wrong, (full & ~wrong) | (high & wrong)
    return np.clip(found, 0.0, most)


def shortened(plain: NDArray, correction: NDArray, most: NDArray) -> Floats:
    """`correction` (m, 3) made shorter where plain + correction (m, 3) would be longer than `most` (m,) mm, which is
    nowhere less than the plain length."""
    a = np.einsum("ij,ij->i", correction, correction)
    b = np.einsum("ij,ij->i", plain, correction)
    c = np.einsum("ij,ij->i", plain, plain) - most**2
    share = (-b + np.sqrt(np.maximum(b * b - a * c, 0.0))) / np.maximum(a, np.finfo(float).tiny)
    return correction * np.clip(share, 0.0, 1.0)[:, None]


def _matrix(response: Response, vertices: Ints, place: Across | None) -> sp.csr_matrix:
    """(r, k) what each row takes of the pushed vertices' movement."""
    number = np.full(len(response.field), -1, dtype=np.int64)
    number[response.pushed] = np.arange(len(response.pushed))
    own = np.arange(len(vertices))
    line, column, value = [own], [number[vertices]], [np.ones(len(own))]
    if place is not None:
        line.append(np.repeat(own, place.corners.shape[1]))
        column.append(number[place.corners].ravel())
        value.append(-place.share.ravel())
    shape = (len(vertices), len(response.pushed))
    return sp.csr_matrix((np.concatenate(value), (np.concatenate(line), np.concatenate(column))), shape)
