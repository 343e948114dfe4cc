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
            beside = cKDTree(direction).query(direction, k=min(2 * NEAR, len(length)))[1]
            outer = length >= length[beside].max(axis=1) - BENEATH * self.radius
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
