"""Hair that lies on the skin goes along with it: each of its vertices is tied to the nearest place of the skin.

A quad of the skin that is not flat has two surfaces, one for each of its diagonals. A head is cut along the one on its
left side, and on its right side not always along the mirrored one. So hair is tied to the middle of both.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.anatomy import MIRROR, Anatomy, Points
from composer.geometry.closest import ClosestPoints

PARTS = ("brow_left", "brow_right")


class HairOnSkin:
    """The vertices of a face's brows, and the corners of skin that carry each of them."""

    def __init__(self, anatomy: Anatomy) -> None:
        self._at = np.concatenate([anatomy.parts.get(name, np.zeros(0, np.int64)) for name in PARTS])
        left = anatomy.positions[self._at]
        right = left[:, 0] < 0
        left = np.where(right[:, None], left * MIRROR, left)
        counts, indices = anatomy.polygons.counts, anatomy.polygons.indices
        quads = indices[(np.cumsum(counts) - counts)[counts == 4][:, None] + np.arange(4)]
        quads = quads[anatomy.outer[quads].all(axis=1)]
        self._ties: list[tuple[NDArray, Points]] = []
        for cut in (((0, 1, 2), (0, 2, 3)), ((0, 1, 3), (1, 2, 3))):
            triangles = np.concatenate([quads[:, corners] for corners in cut])
            found = ClosestPoints(anatomy.positions, triangles)(left)
            corners = triangles[found.triangle]
            corners[right] = anatomy.mirror[corners[right]]
            self._ties.append((corners, found.bary))
        place, out = self._places(anatomy.positions)
        off = anatomy.positions[self._at] - place
        self._height = np.einsum("mj,mj->m", off, out)
        self._beside = off - self._height[:, None] * out

    def move(self, positions: Points) -> Points:
        """(n, 3) the same vertices with the hair as high over the skin, and at the same place of it, as at rest."""
        place, out = self._places(positions)
        positions = positions.copy()
        positions[self._at] = place + self._beside + self._height[:, None] * out
        return positions

    def _places(self, positions: Points) -> tuple[Points, Points]:
        """Where the hair's vertices are tied to the skin (m, 3), and which way is out of it there (m, 3)."""
        places, outs = [], []
        for corners, weights in self._ties:
            a, b, c = np.moveaxis(positions[corners], 1, 0)
            out = np.cross(b - a, c - a)
            outs.append(out / np.linalg.norm(out, axis=1)[:, None])
            places.append(np.einsum("mk,mkj->mj", weights, positions[corners]))
        along = outs[0] + outs[1]
        return 0.5 * (places[0] + places[1]), along / np.linalg.norm(along, axis=1)[:, None]
