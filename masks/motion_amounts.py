"""How far each shape of a library moves each place of the skin: the head's own motion out, the scanner's noise told.

Scans are never quite still. The rigid motion on which most of the skin agrees is taken out of every shape
(`composer.geometry.common_motion`); where hardly any skin agrees on one, that is said, for then it is a guess.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.common_motion import without_head_motion
from composer.geometry.surface import Floats, Surface

QUIET, NOISE = 0.1, 4.0
"""What the quietest tenth of the skin does in a shape is noise, and so is four times as much anywhere (set by eye)."""
ROUGH = 3.0
"""Noise moves neighbours apart, motion moves them alike: noise is at most this many times the median difference
between a vertex and the mean of its neighbours. Of normal noise that difference is 1.2 times the standard deviation."""
STILL, LEAST_STILL = 0.05, 0.15
"""Skin is still in a shape where it moves by at most a twentieth of the most that any skin does. Where less than this
share of the area is still, the head's own motion is uncertain (set by eye; a shape of one unit leaves half)."""

NOTICED = 1e-4
"""Of the surface's diagonal: a shape that moves no skin by more says nothing about the head's motion."""


@dataclass(frozen=True, eq=False)
class MotionAmounts:
    """`told` (s, n), mm: how far each shape moves each vertex, 0 off the skin, less the head's own motion and the
    noise; `energy` (n,), mm^4: the squares summed over the shapes times the area, before the noise was taken off;
    `still` s x (n, 3) mm, the displacements less the head's own motion, the very arrays given where it kept still;
    `uncertain` (s,) bool: shapes in which hardly any skin keeps still.
    """

    told: Floats
    energy: Floats
    still: list[NDArray]
    uncertain: NDArray[np.bool_]


def motion_amounts(
    surface: Surface, deltas: Sequence[ArrayLike] | NDArray, on_skin: NDArray[np.bool_]
) -> MotionAmounts:  # fmt: skip
    """The amounts of motion of `deltas`, s arrays (n, 3) in mm, on the skin (n,).

    Raises MoueError where there is no shape, or one does not fit the mesh or holds what is not a number.
    """
    if len(deltas) == 0:
        raise MoueError("the library has no shape to look at")
    n = surface.n_vertices
    mass = surface.mass * on_skin
    told, energy = np.zeros((len(deltas), n)), np.zeros(n)
    uncertain = np.zeros(len(deltas), dtype=bool)
    displaced: list[NDArray] = []
    around = _around(surface, on_skin)
    for i, delta in enumerate(deltas):
        given = np.asarray(delta)
        moved = given.astype(np.float64, copy=False)
        if moved.shape != (n, 3):
            raise MoueError(f"shape {i} has {moved.shape} numbers, the mesh {n} vertices")
        if not np.isfinite(moved).all():
            raise MoueError(f"shape {i} moves a vertex by what is not a number")
        if not on_skin.any():
            continue
        still = without_head_motion(surface.positions, mass, moved)
        displaced.append(given if still is moved else still.astype(given.dtype, copy=False))
        amount = np.sqrt(np.einsum("ij,ij->i", still, still)) * on_skin
        energy += mass * amount**2
        told[i] = np.maximum(amount - _noise(still, amount, around, on_skin), 0.0) * on_skin
        at_rest = float(mass[amount <= STILL * amount.max()].sum())
        noticed = amount.max() > NOTICED * surface.diagonal_mm
        uncertain[i] = still is not moved and noticed and at_rest < LEAST_STILL * mass.sum()
    return MotionAmounts(told, energy, displaced, uncertain)


def _around(surface: Surface, on_skin: NDArray[np.bool_]) -> sp.csr_matrix:
    """(n, n) the mean over the neighbours of each vertex of the skin; rows of 0 elsewhere."""
    near = sp.diags(on_skin.astype(float)) @ surface.polygons.adjacency.astype(float) @ sp.diags(on_skin.astype(float))
    count = np.asarray(near.sum(axis=1)).ravel()
    return sp.csr_matrix(sp.diags(1.0 / np.maximum(count, 1.0)) @ near)


def _noise(still: Floats, amount: Floats, around: sp.csr_matrix, on_skin: NDArray[np.bool_]) -> float:
    """What a scanner's noise may move a vertex by in this shape, mm."""
    quiet = float(np.quantile(amount[on_skin], QUIET))
    if quiet == 0.0:
        return 0.0
    apart = (still - around @ still)[on_skin]
    rough = float(np.median(np.sqrt(np.einsum("ij,ij->i", apart, apart))))
    return NOISE * min(quiet, ROUGH * rough)
