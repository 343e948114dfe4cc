"""The pieces of a mesh, each with its polygons together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.half_edges import HalfEdges

Ints = NDArray[np.int32]


class Pieces:
    """The polygons of each piece: their number `sizes` (p,), and the number of their corners `n_corners` (p,)."""

    def __init__(self, mesh: HalfEdges) -> None:
        """Sort the polygons of a mesh by their piece."""
        self.mesh = mesh
        self.order = np.argsort(mesh.pieces, kind="stable").astype(np.int32)
        self.sizes = np.bincount(mesh.pieces)
        self.starts = np.concatenate([[0], np.cumsum(self.sizes)])
        self.n_corners = np.bincount(mesh.pieces, weights=mesh.polygons.counts).astype(np.int64)
        self._corners = _corners_of(mesh, self.order)
        self._corner_starts = np.concatenate([[0], np.cumsum(self.n_corners)])

    def same_sizes(self, other: Pieces) -> bool:
        """Whether both meshes fall into pieces of the same numbers of polygons and corners."""
        mine, theirs = (np.stack([p.sizes, p.n_corners])[:, np.lexsort((p.n_corners, p.sizes))] for p in (self, other))
        return np.array_equal(mine, theirs)

    def largest_first(self) -> list[int]:
        """The pieces, those with most polygons first."""
        return np.argsort(-self.sizes, kind="stable").tolist()

    def faces(self, piece: int) -> Ints:
        """The polygons of a piece."""
        return self.order[self.starts[piece] : self.starts[piece + 1]]

    def corners(self, piece: int) -> Ints:
        """The corners of a piece."""
        return self._corners[self._corner_starts[piece] : self._corner_starts[piece + 1]]

    def corners_like(self, faces: int, corners: int, laid: Ints) -> Ints:
        """The corners of the unmatched pieces of this size, or of all unmatched pieces if there are none."""
        first = self.order[self.starts[:-1]] if len(self.sizes) else np.zeros(0, dtype=np.int32)
        free = laid[first] < 0
        like = free & (self.sizes == faces) & (self.n_corners == corners)
        return self._corners[np.repeat(like if like.any() else free, self.n_corners)]


def _corners_of(mesh: HalfEdges, faces: Ints) -> Ints:
    counts = mesh.polygons.counts[faces]
    first = np.repeat(mesh.polygons.starts[:-1][faces] - (np.cumsum(counts) - counts), counts)
    return (first + np.arange(int(counts.sum()))).astype(np.int32)
