"""Hair that lies on the skin goes along with it: each of its vertices is tied to the nearest place of the skin."""

from __future__ import annotations

import numpy as np

from composer.demo.anatomy import MIRROR, Anatomy, Points
from composer.geometry.closest import ClosestPoints

PARTS = ("brow_left", "brow_right")


class HairOnSkin:
    """The vertices of a face's brows, and the corners of skin that carry each of them."""

    def __init__(self, anatomy: Anatomy) -> None:
        self._at = np.concatenate([anatomy.parts.get(name, np.zeros(0, np.int64)) for name in PARTS])
        triangles = anatomy.polygons.triangles
        triangles = triangles[anatomy.outer[triangles].all(axis=1)]
        left = anatomy.positions[self._at]
        right = left[:, 0] < 0
        found = ClosestPoints(anatomy.positions, triangles)(np.where(right[:, None], left * MIRROR, left))
        self._corners = triangles[found.triangle]
        self._corners[right] = anatomy.mirror[self._corners[right]]
        self._weights = found.bary
        self._rest = anatomy.positions

    def move(self, positions: Points) -> Points:
        """(n, 3) the same vertices with the hair moved as far as the skin under it has come from the neutral."""
        moved = positions[self._corners] - self._rest[self._corners]
        positions = positions.copy()
        positions[self._at] = self._rest[self._at] + np.einsum("mk,mkj->mj", self._weights, moved)
        return positions
