"""Many rigid fits at once: for each shape the rotation and shift that its displacements are nearest to.

The fit is that of `composer.geometry.rigid`, its second round weighted by the residuals so that what moves in itself,
such as a pupil that widens, does not turn the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import nearest_rotation

Floats = NDArray[np.float64]
SQUEEZED = 0.25
"""A linear map that changes a length by less than this share of it may be a sum of turns: halfway to a turn of 60
degrees, further than an eye turns, it is 0.13.
"""


@dataclass(frozen=True, eq=False)
class RigidFits:
    """For each of s shapes the rotation, or the linear map near one, (s, 3, 3) and shift (s, 3) of x -> R x + t, and
    (s, k) what it leaves, mm.
    """

    turns: Floats
    shifts: Floats
    residual: Floats

    def moves(self, points: Floats) -> Floats:
        """(s, k, 3) how far each motion takes `points` (k, 3)."""
        return np.einsum("sij,kj->ski", self.turns, points) + self.shifts[:, None] - points


def fit_rigid(points: Floats, deltas: Floats, weights: Floats | None = None) -> RigidFits:
    """The rigid motions nearest to displacements (s, k, 3) of `points` (k, 3), with weights (s, k) not negative."""
    s, k, _ = deltas.shape
    w = np.full((s, k), 1.0 / max(k, 1)) if weights is None else weights / np.maximum(weights.sum(1), 1e-300)[:, None]
    target = points + deltas
    middle, to = w @ points, np.einsum("sk,skx->sx", w, target)
    product = np.einsum("sk,ski,skj->sij", w, target, np.broadcast_to(points, deltas.shape))
    product -= np.einsum("si,sj->sij", to, middle)
    turns, _ = nearest_rotation(product)
    shifts = to - np.einsum("sij,sj->si", turns, middle)
    off = np.einsum("sij,kj->ski", turns, points) + shifts[:, None] - target
    return RigidFits(turns, shifts, np.sqrt(np.einsum("skx,skx->sk", off, off)))


def fit_mixed(points: Floats, deltas: Floats, floor: float, most: float, share: float) -> RigidFits:
    """As `fit_robust`; a shape that leaves more than `most` mm at the `share` of the points is fitted by the nearest
    linear map instead, where that is within SQUEEZED of a rotation: a sum of turns, or a part of one, is no turn.
    """
    fits = fit_robust(points, deltas, floor)
    if not len(points):
        return fits
    mixed = np.flatnonzero(np.quantile(fits.residual, share, axis=1) > most)
    turns, shifts, residual = (np.array(each) for each in (fits.turns, fits.shifts, fits.residual))
    known = np.column_stack([points, np.ones(len(points))])
    for s in mixed.tolist():
        weights = np.ones(len(points))
        for _ in range(2):
            root = np.sqrt(weights)[:, None]
            solution = np.linalg.lstsq(known * root, (points + deltas[s]) * root, rcond=None)[0]
            off = np.linalg.norm(known @ solution - points - deltas[s], axis=1)
            weights = 1.0 / (1.0 + (off / (np.median(off) + floor)) ** 2)
        sizes = np.linalg.svd(solution[:3], compute_uv=False)
        if abs(sizes - 1.0).max() < SQUEEZED and np.linalg.det(solution[:3]) > 0.0:
            turns[s], shifts[s], residual[s] = solution[:3].T, solution[3], off
    return RigidFits(turns, shifts, residual)


def fit_robust(points: Floats, deltas: Floats, floor: float) -> RigidFits:
    """As `fit_rigid`, once more with weights 1 / (1 + (r / median)^2); `floor` is the least median, in mm."""
    first = fit_rigid(points, deltas)
    scale = np.median(first.residual, axis=1, keepdims=True) + floor
    return fit_rigid(points, deltas, 1.0 / (1.0 + (first.residual / scale) ** 2))
