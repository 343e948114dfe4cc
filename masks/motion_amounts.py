"""How far each shape of a library moves each place of the skin, without head motion and scanner noise.

Scans contain head motion. The rigid motion shared by most of the skin is removed from every shape
(`composer.geometry.common_motion`). Where hardly any skin shares one, the shape is marked as uncertain.
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
"""The movement of the quietest tenth of the skin in a shape is noise, and so is up to four times as much anywhere.
Chosen by eye.
"""
ROUGH = 3.0
"""Noise moves neighbours apart, motion moves them together. So noise is at most this many times the median difference
between a vertex and the mean of its neighbours, which is 1.2 standard deviations for normal noise. Chosen by eye.
"""
STILL, LEAST_STILL = 0.05, 0.15
"""Skin is still in a shape if it moves by at most STILL times the largest movement. If less than LEAST_STILL of the
area is still, the head motion is uncertain. Chosen by eye; a shape of one action unit leaves half of the skin still.
"""
NOTICED = 1e-4
"""A shape that moves no skin by more than this fraction of the surface's diagonal is not used for head motion. A design
choice, no source.
"""


@dataclass(frozen=True, eq=False)
class MotionAmounts:
    """`told` (s, n) mm: how far each shape moves each vertex without head motion and noise, 0 off the skin; `energy`
    (n,) mm^4: the squares with noise, summed over the shapes, times the area; `still` s x (n, 3) mm: the displacements
    without head motion, the given arrays where there is none; `uncertain` (s,) bool: shapes in which hardly any skin is
    still.
    """

    told: Floats
    energy: Floats
    still: list[NDArray]
    uncertain: NDArray[np.bool_]


def motion_amounts(
    surface: Surface, deltas: Sequence[ArrayLike] | NDArray, on_skin: NDArray[np.bool_]
) -> MotionAmounts:  # fmt: skip
    """The amounts of motion of `deltas`, s arrays (n, 3) in mm, on the skin (n,).

    Raises MoueError where there is no shape, or one does not fit the mesh or is not finite.
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
            raise MoueError(f"shape {i} has a displacement that is not a number")
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
    """The largest movement of a vertex in mm that counts as scanner noise in this shape."""
    quiet = float(np.quantile(amount[on_skin], QUIET))
    if quiet == 0.0:
        return 0.0
    apart = (still - around @ still)[on_skin]
    rough = float(np.median(np.sqrt(np.einsum("ij,ij->i", apart, apart))))
    return NOISE * min(quiet, ROUGH * rough)
