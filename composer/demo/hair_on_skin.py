"""Hair goes along with the skin: a brow's hair lies on it with all of its vertices, a lash stands on it with its root.

A quad of the skin that is not flat has two surfaces, one for each of its diagonals. A head is cut along the one on its
left side, and on its right side not always along the mirrored one. So hair is tied to the middle of both.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.anatomy import MIRROR, Anatomy, Points
from composer.demo.lashes import STRAND
from composer.geometry.closest import ClosestPoints

BROWS = ("brow_left", "brow_right")
LASHES = tuple(f"lashes_{lid}_{side}" for lid in ("upper", "lower") for side in ("left", "right"))


class HairOnSkin:
    """The hair of a face, and the corners of skin that carry each of its vertices or roots."""

    def __init__(self, anatomy: Anatomy) -> None:
        self._brows = _Tied(anatomy, _vertices(anatomy, BROWS), anatomy.outer)
        self._lashes = _vertices(anatomy, LASHES).reshape(-1, STRAND)
        self._roots = _Tied(anatomy, self._lashes[:, :2].ravel(), anatomy.skin)

    def move(self, positions: Points) -> Points:
        """(n, 3) the same vertices with the brows as high over the skin, and at the same place of it, as at rest, and
        with every lash, as it is turned, where its root grows."""
        positions = positions.copy()
        positions[self._brows.vertices] = self._brows.carried(positions)
        off = self._roots.carried(positions) - positions[self._roots.vertices]
        positions[self._lashes] += off.reshape(-1, 2, 3).mean(axis=1)[:, None]
        return positions


class _Tied:
    """Vertices of hair (m,) tied to the nearest place of the skin that is `ground` (n,)."""

    def __init__(self, anatomy: Anatomy, vertices: NDArray[np.int64], ground: NDArray[np.bool_]) -> None:
        self.vertices = vertices
        left = anatomy.positions[vertices]
        right = left[:, 0] < 0
        left = np.where(right[:, None], left * MIRROR, left)
        counts, indices = anatomy.polygons.counts, anatomy.polygons.indices
        quads = indices[(np.cumsum(counts) - counts)[counts == 4][:, None] + np.arange(4)]
        quads = quads[ground[quads].all(axis=1)]
        self._ties: list[tuple[NDArray, Points]] = []
        for cut in (((0, 1, 2), (0, 2, 3)), ((0, 1, 3), (1, 2, 3))):
            triangles = np.concatenate([quads[:, corners] for corners in cut])
            found = ClosestPoints(anatomy.positions, triangles)(left)
            corners = triangles[found.triangle]
            corners[right] = anatomy.mirror[corners[right]]
            self._ties.append((corners, found.bary))
        place, out = self._places(anatomy.positions)
        off = anatomy.positions[vertices] - place
        self._height = np.einsum("mj,mj->m", off, out)
        self._beside = off - self._height[:, None] * out

    def carried(self, positions: Points) -> Points:
        """(m, 3) where the skin of `positions` (n, 3) carries the vertices."""
        place, out = self._places(positions)
        return np.asarray(place + self._beside + self._height[:, None] * out)

    def _places(self, positions: Points) -> tuple[Points, Points]:
        """Where the vertices are tied to the skin (m, 3), and which way is out of it there (m, 3)."""
        places, outs = [], []
        for corners, weights in self._ties:
            a, b, c = np.moveaxis(positions[corners], 1, 0)
            out = np.cross(b - a, c - a)
            outs.append(out / np.linalg.norm(out, axis=1)[:, None])
            places.append(np.einsum("mk,mkj->mj", weights, positions[corners]))
        along = outs[0] + outs[1]
        return 0.5 * (places[0] + places[1]), along / np.linalg.norm(along, axis=1)[:, None]


def _vertices(anatomy: Anatomy, names: tuple[str, ...]) -> NDArray[np.int64]:
    """The vertices of the parts of these names that the face has."""
    return np.concatenate([anatomy.parts.get(name, np.zeros(0, np.int64)) for name in names])
