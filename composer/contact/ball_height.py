"""How high places lie above an eyeball: by direction from its centre, over the outermost of its surface.

A cornea counts where it stands out; an iris beneath it does not, nor do sheets that lie over the ball as pieces of
their own (see `ball_piece`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
NEAR = 6
"""Vertices that say how far the surface is in a direction."""
BENEATH = 0.03
"""Of the ball's radius: a vertex further below one beside it lies under a cornea, and is left out."""


class BallHeight:
    """The outermost surface of a ball by direction, from its vertices (k, 3) mm about its centre."""

    def __init__(self, points: NDArray) -> None:
        length = np.linalg.norm(points, axis=1)
        self.radius = float(np.median(length)) if len(length) else 0.0
        sound = length > 0.5 * self.radius
        length, direction = length[sound], points[sound] / np.maximum(length[sound], np.finfo(float).tiny)[:, None]
        if len(length) > NEAR:
            tree = cKDTree(direction)
            reach = tree.query(direction, k=min(2 * NEAR, len(length)))[0][:, -1] * (1.0 + 1e-6)  # all at one distance
            highest = np.array([length[near].max() for near in tree.query_ball_point(direction, reach)])
            outer = length >= highest - BENEATH * self.radius
            length, direction = length[outer], direction[outer]
        self.most = float(length.max(initial=0.0))
        self._length, self._tree = length, cKDTree(direction)

    def __call__(self, arm: NDArray) -> Floats:
        """(p,) mm above the surface of places (p, 3) mm about the centre."""
        if not len(arm):
            return np.zeros(0)
        far = np.linalg.norm(arm, axis=1)
        direction = arm / np.maximum(far, np.finfo(float).tiny)[:, None]
        away, near = self._tree.query(direction, k=min(NEAR, len(self._length)))
        away = np.maximum(away.reshape(len(arm), -1), 1e-9)
        share = (1.0 / away - 1.0 / (1.0001 * away[:, -1:])) ** 2  # Franke and Nielson 1980: none jumps in or out
        return far - (share * self._length[near].reshape(len(arm), -1)).sum(axis=1) / share.sum(axis=1)


def ball_centre(points: NDArray) -> Floats:
    """(3,) the centre of the ball that most of the points (k, 3) lie on: least squares, reweighted so that a cornea
    that stands out of it does not count (Pratt 1987 for the linear fit; weights of Cauchy). The mean where flat.
    """
    middle = points.mean(axis=0)
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    weight = np.ones(len(points))
    centre = middle
    for _ in range(20):
        system = np.column_stack([2.0 * (points - middle), np.full(len(points), size)]) * weight[:, None]
        known = ((points - middle) ** 2).sum(axis=1) * weight
        if np.linalg.matrix_rank(system) < 4:
            return middle
        centre = middle + np.linalg.lstsq(system, known, rcond=None)[0][:3]
        away = np.linalg.norm(points - centre, axis=1)
        off = away - np.median(away)
        width = max(3.0 * float(np.median(np.abs(off))), 1e-6 * size)
        weight = 1.0 / np.sqrt(1.0 + (off / width) ** 2)
    return centre
