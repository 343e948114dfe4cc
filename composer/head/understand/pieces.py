"""The connected pieces of a head, and which of them is its skin: the one of the largest extent."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons, read_only

Ints = NDArray[np.int32]
MOST = 4096
"""More pieces than that are hair or debris: their own motion is not looked at one by one (our choice)."""


@dataclass(frozen=True, eq=False)
class Pieces:
    """`label` (n,) the piece of each vertex, `of` the vertices (k,) of each piece, `skin` which of them is the skin."""

    polygons: Polygons
    label: Ints
    of: tuple[Ints, ...]
    skin: int

    def __len__(self) -> int:
        return len(self.of)

    @property
    def others(self) -> list[int]:
        """The pieces that are not the skin and have at least one polygon."""
        return [piece for piece in range(len(self.of)) if piece != self.skin and len(self.of[piece]) > 2]

    @cached_property
    def on_skin(self) -> NDArray[np.bool_]:
        """(n,) whether a vertex lies on the skin's piece."""
        return read_only(self.label == self.skin)

    @cached_property
    def skin_triangles(self) -> Ints:
        """(t, 3) the triangles of the skin."""
        triangles = self.polygons.triangles
        return read_only(triangles[self.on_skin[triangles[:, 0]]])


def pieces_of(polygons: Polygons, positions: NDArray) -> Pieces:
    """The pieces of polygons at `positions` (n, 3) in any unit.

    The skin is the piece whose box has the largest sum of sides; of equals the one of more vertices.
    """
    label = polygons.components
    count = int(label.max(initial=-1)) + 1
    order = np.argsort(label, kind="stable").astype(np.int32)
    ends = np.cumsum(np.bincount(label, minlength=count))
    of = tuple(np.split(order, ends[:-1])) if count else ()
    size = [(round(float(np.ptp(positions[piece], axis=0).sum()), 6), len(piece)) for piece in of]
    return Pieces(polygons, label, of, max(range(count), key=lambda piece: size[piece], default=0))
