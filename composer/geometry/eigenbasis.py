"""The smoothest functions on a surface: an approximation of its lowest eigenfunctions.

Subspace iteration with the inverse of the cotangent Laplacian on a block of random columns (Bathe and Wilson 1976,
"Numerical methods in finite element analysis"; with a random start Halko, Martinsson and Tropp 2011, "Finding
structure with randomness"), then the Rayleigh-Ritz procedure. A few steps suffice: the fit needs a space of smooth
functions and how smooth each of them is, not exact eigenfunctions. The start is seeded: the same surface gives the same
functions.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.linalg as la
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.dissected import Dissected
from composer.geometry.surface import factorise

Rows = NDArray[np.float64]
Solve = Callable[[NDArray], NDArray]
SPARE = 1.25
"""Columns of the block for each function that is asked for (our choice; more give better functions)."""
STEPS = 2
"""How often the inverse is applied (our choice; of 49 functions on a sphere the first 36 rates are then within 30
percent, as the test shows)."""
ROUGHLY = 0.01
"""Error of solutions in single precision from which on double precision is used (our choice)."""
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
    system = (matrix + shift * sp.diags(mass)).tocsc()
    start = np.random.default_rng(seed).normal(size=(n, min(int(SPARE * count) + 1, n)))
    solve, kind = _solver(system, mass * start[:, 0])
    block, weight = start.astype(kind), mass.astype(kind)[:, None]
    for _ in range(STEPS):
        block = solve(weight * block)
    block = block.astype(np.float64)
    block /= np.sqrt(np.einsum("ij,ij,i->j", block, block, mass))
    heavy = np.sqrt(mass)[:, None] * block
    rates, turn = la.eigh(block.T @ (matrix @ block), heavy.T @ heavy)
    return Eigenbasis(block @ turn[:, :count], np.maximum(rates[:count], 0.0))


def _solver(system: sp.csc_matrix, right: NDArray) -> tuple[Solve, type[np.floating]]:
    """What solves for a `system` (n, n), and the kind of number that it does so with: single precision where that is
    nearly exact for a `right` side (n,)."""
    for kind in (np.float32, np.float64):
        try:
            factor = Dissected(system.astype(kind))
        except np.linalg.LinAlgError:  # triangles without area: in rounding the system is not positive definite
            continue
        if kind is np.float64 or _nearly_exact(factor.solve, system, right):
            return factor.solve, kind
    rough = factorise(system)
    return lambda block: rough.solve(np.asfortranarray(block)), np.float64


def _nearly_exact(solve: Solve, system: sp.csc_matrix, right: NDArray) -> bool:
    """Whether a `solve` in single precision for a `system` (n, n) finds a solution for a `right` side (n,) that one
    step of iterative refinement changes by less than ROUGHLY. What rounding mixes into the block is smooth too, and the
    Rayleigh-Ritz procedure in double precision sorts it."""
    found = solve(right.astype(np.float32)).astype(np.float64)
    more = solve((right - system @ found).astype(np.float32)).astype(np.float64)
    return bool(np.linalg.norm(more) < ROUGHLY * np.linalg.norm(found))
