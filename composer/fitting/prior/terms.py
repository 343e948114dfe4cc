"""Terms of a prior on how a head's skin may differ from the library's: smooth functions, earlier heads, poses.

A term is a set of displacement fields over the n vertices of the skin; a displacement is the sum of the fields, each
times an amount of normal distribution with deviation 1. The fields are not stored as one large array: `columns` gives
them at a few vertices, and `field` their sum at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from composer.geometry.eigenbasis import Eigenbasis

Rows = NDArray[np.float64]
Single = NDArray[np.float32]


class Term(Protocol):
    """Fields over n vertices."""

    @property
    def count(self) -> int:
        """The number of fields."""

    def columns(self, vertices: NDArray) -> Single:
        """(k, 3, count) mm, the fields at `vertices` (k,)."""

    def field(self, amounts: Rows) -> Rows:
        """(n, 3) mm, the sum of the fields times `amounts` (count,)."""


@dataclass(frozen=True, eq=False)
class SmoothTerm:
    """Smooth scalar `functions` (n, k) in mm, each along x, y and z: 3 k fields."""

    functions: Rows

    @classmethod
    def of(cls, basis: Eigenbasis, area: float, parts: tuple[tuple[float, float], ...], order: float) -> SmoothTerm:
        """The kernel that is the sum over `parts` (amplitude in mm, length in mm) of one with the spectrum
        amplitude^2 (1 + length^2 rate)^-order, rate as in `basis`, scaled to that root mean square over the `area` in
        mm^2 along each axis (Matern's family on a surface: Borovitskiy et al. 2020, "Matern Gaussian processes on
        Riemannian manifolds")."""
        power = np.zeros_like(basis.rates)
        for amplitude, length in parts:
            spectrum = (1.0 + length**2 * basis.rates) ** -order
            power += amplitude**2 * spectrum / spectrum.sum()
        return cls(basis.functions * np.sqrt(area * power))

    @property
    def count(self) -> int:
        return 3 * self.functions.shape[1]

    def columns(self, vertices: NDArray) -> Single:
        values = self.functions[vertices].astype(np.float32)
        out = np.zeros((len(values), 3, 3, values.shape[1]), dtype=np.float32)
        for axis in range(3):
            out[:, axis, axis] = values
        return out.reshape(len(values), 3, -1)

    def field(self, amounts: Rows) -> Rows:
        return self.functions @ amounts.reshape(3, -1).T


@dataclass(frozen=True, eq=False)
class HeadsTerm:
    """The local covariance of earlier heads: `deviations` (h, n, 3) mm of h heads, each times the scalar functions
    `local` (n, q) whose products are the taper: h q fields, scaled by `amount`."""

    deviations: Single
    local: Single
    amount: float

    @property
    def count(self) -> int:
        return len(self.deviations) * self.local.shape[1]

    def columns(self, vertices: NDArray) -> Single:
        own = self.deviations[:, vertices].transpose(1, 2, 0)
        out = self.amount * own[..., None] * self.local[vertices][:, None, None, :]
        return out.reshape(len(out), 3, -1).astype(np.float32)

    def field(self, amounts: Rows) -> Rows:
        shares = self.local @ amounts.reshape(len(self.deviations), -1).T.astype(np.float32)
        return self.amount * np.einsum("hnc,nh->nc", self.deviations, shares).astype(np.float64)


@dataclass(frozen=True, eq=False)
class PoseTerm:
    """Small shifts, turns and a change of size of the whole skin, `positions` (n, 3) mm about their mean: 7 fields."""

    fields: Rows

    @classmethod
    def of(cls, positions: Rows, shift: float, turn: float, size: float) -> PoseTerm:
        """Deviations: `shift` in mm and `turn` in radians about each axis, `size` as a share."""
        about = positions - positions.mean(0)
        out = np.zeros((len(positions), 3, 7))
        for axis in range(3):
            out[:, axis, axis] = shift
            out[:, :, 3 + axis] = turn * np.cross(np.eye(3)[axis], about)
        out[:, :, 6] = size * about
        return cls(out)

    @property
    def count(self) -> int:
        return 7

    def columns(self, vertices: NDArray) -> Single:
        return self.fields[vertices].astype(np.float32)

    def field(self, amounts: Rows) -> Rows:
        return self.fields @ amounts
