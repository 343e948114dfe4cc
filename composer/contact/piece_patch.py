"""A whole piece, such as a tongue, as a patch that gives way to what it touches: it has no rim and no sides."""

from __future__ import annotations

import numpy as np

from composer.contact.patch import Patch
from composer.geometry.surface import Surface


class PiecePatch(Patch):
    """All vertices of a piece. Lengths are shares of `length_mm`, that of the lines it lies behind."""

    def __init__(self, piece: Surface, length_mm: float) -> None:
        """Take the piece (m vertices) at rest."""
        nothing = np.zeros(0, dtype=np.int64)
        self.length_mm, self.edge_mm = length_mm, piece.mean_edge_mm
        self.vertices = np.arange(piece.n_vertices)
        self.window = np.ones(piece.n_vertices)
        self.sides = (nothing, nothing)
        self.polygons = piece.polygons
