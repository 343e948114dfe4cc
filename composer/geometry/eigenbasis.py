"""The smoothest functions on a surface: an approximation of its lowest eigenfunctions.

Subspace iteration with the inverse of the cotangent Laplacian on a block of random columns (Bathe and Wilson 1976,
"Numerical methods in finite element analysis"; with a random start Halko, Martinsson and Tropp 2011, "Finding
structure with randomness"), then the Rayleigh-Ritz procedure. A few steps suffice: the fit needs a space of smooth
functions and how smooth each of them is, not exact eigenfunctions. The start is seeded: the same surface gives the same
functions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg as la
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.surface import factorise

Rows = NDArray[np.float64]
SPARE = 1.25
"""Columns of the block for each function that is asked for (our choice; more give better functions)."""
STEPS = 2
"""How often the inverse is applied (our choice; of 49 functions on a sphere the first 36 rates are then within 30
percent, as the test shows)."""
AT_ONCE = 8
"""Columns that are solved together, so that they stay in the processor's cache (our choice)."""
SHIFT = 0.01
"""Share of the highest eigenvalue that is added to the Laplacian, which alone is singular (our choice)."""


@dataclass(frozen=True, eq=False)
class Eigenbasis:
    """k `functions` (n, k), orthonormal under the mass, the smoothest first, and their `rates` (k,): the integral of
    each one's squared gradient, (2 pi / wavelength)^2."""

    functions: Rows
    rates: Rows


def smoothest(laplacian: sp.spmatrix, mass: NDArray, count: int, seed: int = 0) -> Eigenbasis:
    """The `count` smoothest functions for a `laplacian` (n, n), such as `Surface.laplacian`, and a `mass` (n,).

    More than n functions are not returned. Lengths are in the unit of the root of the mass.
    """
    n = len(mass)
    count = min(count, n)
    matrix, total = laplacian.tocsr(), float(mass.sum())
    shift = SHIFT * 4.0 * np.pi * count / total  # Weyl's law: the highest rate is about 4 pi count / area
    factor = factorise(matrix + shift * sp.diags(mass))
    block = np.random.default_rng(seed).normal(size=(n, min(int(SPARE * count) + 1, n)))
    for _ in range(STEPS):
        right = np.asfortranarray(mass[:, None] * block)
        block = np.concatenate([factor.solve(right[:, i : i + AT_ONCE]) for i in range(0, right.shape[1], AT_ONCE)], 1)
    block /= np.sqrt(np.einsum("ij,ij,i->j", block, block, mass))
    rates, turn = la.eigh(block.T @ (matrix @ block), block.T @ (mass[:, None] * block))
    return Eigenbasis(block @ turn[:, :count], np.maximum(rates[:count], 0.0))
