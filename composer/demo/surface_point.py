"""Places on the smooth skin, each as a quad of level 1 and two coordinates in it, independent of any finer mesh.

A quad of level 1 runs from its corner 0 at (0, 0) over corner 1 at (1, 0) and corner 2 at (1, 1) to corner 3 at (0, 1).
Each Catmull-Clark step cuts it into four, one for each corner, whose own corner 0 is that corner; so a place is
handed down level by level, and read off the quad it ends in.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.levels import levels

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]


class SmoothSkin:
    """The skin's Catmull-Clark surface, read at places of its level 1."""

    def __init__(self, polygons: Polygons, positions: Rows, depth: int = 3) -> None:
        """Take a cage of quads, its vertices (n, 3) in mm, and the level at which places are read (at least 1)."""
        steps = levels(polygons, depth)
        self.polygons = steps[0].polygons  # level 1
        self.depth = depth
        for step in steps:
            positions = step.apply(positions)
        self.fine = positions
        self.fine_quads = steps[-1].polygons.indices.reshape(-1, 4)

    def at(self, quad: Ints, u: Rows, v: Rows) -> Rows:
        """(k, 3) mm of the places (quad, u, v)."""
        quad, u, v = quad.copy(), u.copy(), v.copy()
        for _ in range(self.depth - 1):
            right, high = u > 0.5, v > 0.5
            child = np.where(right, np.where(high, 2, 1), np.where(high, 3, 0))
            a, b = np.where(right, 1 - u, u) * 2, np.where(high, 1 - v, v) * 2
            swapped = (child == 1) | (child == 3)
            u, v = np.where(swapped, b, a), np.where(swapped, a, b)
            quad = 4 * quad + child
        corners = self.fine[self.fine_quads[quad]]
        weights = np.stack([(1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v], axis=1)
        return np.einsum("ij,ijk->ik", weights, corners)
