"""A prior on a head's skin: the library's form, and the displacements from it that are likely, in few numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

from composer.fitting.prior.terms import Term

Rows = NDArray[np.float64]
SAMPLE = 2500
"""Places of the skin on which the largest parts of the covariance are found (our choice: half as many move the fit by
less than its rounds do)."""


@dataclass(frozen=True, eq=False)
class Prior:
    """Positions `mean` (n, 3) mm plus a sum of fields, each times an amount of normal distribution with deviation 1.

    The fields are those of the `terms`, mixed by `mixing` (all their fields, r).
    """

    mean: Rows
    terms: tuple[Term, ...]
    mixing: NDArray[np.float32]

    @classmethod
    def of(cls, mean: Rows, mass: Rows, terms: tuple[Term, ...], rank: int) -> Prior:
        """The `rank` largest parts, over the skin's `mass` (n,), of the covariance that the `terms` add up to."""
        n = len(mean)
        count = sum(term.count for term in terms)
        if count <= rank:
            return cls(mean, terms, np.eye(count, dtype=np.float32))
        places = drawn(mass, min(SAMPLE, n))
        flat = np.concatenate([term.columns(places) for term in terms], axis=2).reshape(-1, count)
        _, vectors = la.eigh((flat.T @ flat).astype(np.float64), driver="evd")  # all take half the time of the largest
        return cls(mean, terms, np.ascontiguousarray(vectors[:, count - rank :], dtype=np.float32))

    @property
    def rank(self) -> int:
        """The number r of mixed fields."""
        return self.mixing.shape[1]

    def times(self, factor: float) -> Prior:
        """The same with every field times `factor` > 0."""
        return Prior(self.mean, self.terms, self.mixing * np.float32(factor))

    def largest(self, rank: int, mass: Rows) -> Prior:
        """The same with the `rank` fields alone that are largest over the skin's `mass` (n,): less to solve for."""
        if rank >= self.rank:
            return self
        size = (self.columns(drawn(mass, min(SAMPLE // 5, len(mass)))) ** 2).sum(axis=(0, 1))
        kept = np.sort(np.argsort(size)[-rank:])
        return Prior(self.mean, self.terms, np.ascontiguousarray(self.mixing[:, kept]))

    def columns(self, vertices: NDArray) -> NDArray[np.float32]:
        """(k, 3, r) mm, the mixed fields at `vertices` (k,)."""
        if not len(vertices):
            return np.zeros((0, 3, self.rank), dtype=np.float32)
        flat = np.concatenate([term.columns(vertices) for term in self.terms], axis=2)
        return (flat.reshape(3 * len(vertices), -1) @ self.mixing).reshape(len(vertices), 3, -1)

    def field(self, amounts: Rows, only: int | None = None) -> Rows:
        """(n, 3) mm, the displacement from the mean for `amounts` (r,); with `only` the part of that term."""
        shares = self.mixing.astype(np.float64) @ amounts
        total, first = np.zeros_like(self.mean), 0
        for number, term in enumerate(self.terms):
            if only is None or number == only:
                total += term.field(shares[first : first + term.count])
            first += term.count
        return total

    def share_of(self, term: int, amounts: Rows) -> float:
        """The share in [0, 1] of the displacement for `amounts` (r,), less that of the first term, which the term of
        that number explains: its part along the whole (0 where there is none)."""
        whole = self.field(amounts) - self.field(amounts, 0)
        square = float((whole**2).sum())
        return float(np.clip((whole * self.field(amounts, term)).sum() / square, 0.0, 1.0)) if square > 0 else 0.0


def drawn(mass: Rows, count: int) -> NDArray[np.int64]:
    """(count,) different places drawn with probability by `mass` (n,), in ascending order; the same on every run."""
    chance = mass / mass.sum()
    count = min(count, int((chance > 0).sum()))
    return np.sort(np.random.default_rng(0).choice(len(mass), count, replace=False, p=chance))
