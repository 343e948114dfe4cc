"""Normals of a large head at the vertices of its coarser level alone: what a picture in motion needs."""

from __future__ import annotations

from numpy.typing import NDArray

from composer.head.coarse import known_coarse
from composer.head.coarse_head import coarse_head
from composer.head.head import Head
from composer.viewer.render.normals import Floats32, Normals


class RoughNormals:
    """The coarser level of one large head: `vertices` (m,) of the head, and their normals in any pose."""

    def __init__(self, head: Head) -> None:
        """Take a head whose coarser level is known."""
        found = coarse_head(head)
        assert found is not None
        self.vertices, self._normals = found.level.vertices, Normals(found.head)
        self.head = found.head

    def into(self, drawn: Floats32, positions: NDArray) -> None:
        """Put the normals of a pose (n, 3) mm into `drawn` (n, 3), at those vertices; others stay as they are."""
        drawn[self.vertices] = self._normals.all(positions[self.vertices])


def rough_normals(head: Head) -> RoughNormals | None:
    """For a head whose coarser level is known; None for all others."""
    return RoughNormals(head) if known_coarse(head.surface) is not None else None
