"""The smoothest functions on a surface: its lowest eigenfunctions, nearly, cheaply.

Subspace iteration with the inverse of the cotangent Laplacian on a block of random columns (Bathe and Wilson 1976,
"Numerical methods in finite element analysis"; with a random start Halko, Martinsson and Tropp 2011, "Finding
structure with randomness"), then Rayleigh and Ritz. Few steps do: what is wanted is a space of smooth functions with
a measure of how smooth each is, not single eigenfunctions to the digit. The start is seeded: the same surface gives
the same functions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg as la
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.surface import factorise

Rows = NDArray[np.float64]
SPARE, STEPS, SHIFT = 1.25, 2, 0.01
"""Columns in the block for each that is wanted, how often the inverse is applied, and what is added to the Laplacian
so that it has one, as a share of the last rate."""


@dataclass(frozen=True, eq=False)
class Waves:
    """k functions (n, k), orthonormal under the mass, from the smoothest on, and of each `rate` (k,) the integral of
    its squared gradient: (2 pi / wavelength)^2."""

    functions: Rows
    rates: Rows


def smoothest(laplacian: sp.spmatrix, mass: NDArray, count: int, seed: int = 0) -> Waves:
    """The `count` smoothest functions for a Laplacian (n, n) as `composer.geometry.surface.Surface.laplacian` and a
    mass (n,).

    `count` is at most n. Lengths are in the unit of the mass's root.
    """
    n = len(mass)
    count = min(count, n)
    matrix, total = laplacian.tocsr(), float(mass.sum())
    shift = SHIFT * 4.0 * np.pi * count / total  # the last one's rate is about 4 pi count / area (Weyl's law)
    factor = factorise(matrix + shift * sp.diags(mass))
    block = np.random.default_rng(seed).normal(size=(n, min(int(SPARE * count) + 1, n)))
    for _ in range(STEPS):
        block = factor.solve(np.asfortranarray(mass[:, None] * block))
    block /= np.sqrt(np.einsum("ij,ij,i->j", block, block, mass))
    rates, turn = la.eigh(block.T @ (matrix @ block), block.T @ (mass[:, None] * block))
    return Waves(block @ turn[:, :count], np.maximum(rates[:count], 0.0))
