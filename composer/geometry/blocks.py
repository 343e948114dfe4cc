"""Quads that stand in blocks of four, as subdivision leaves them: which blocks of blocks there are, and their sides.

Where a mesh comes from subdivision, the quads of one polygon stand one after the other: quad i is (the polygon's corner
i, the middle of its next side, its centre, the middle of the side before). Four such quads are a block, four blocks a
block of the next step. Everything is read off the connectivity; nothing needs to know where the mesh comes from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons

Ints = NDArray[np.int32]
Flags = NDArray[np.bool_]

MOST = 6
"""Most steps of blocks (our choice): a block then has 4,096 quads, and larger ones are seldom flat."""


@dataclass(frozen=True, eq=False)
class Blocks:
    """The blocks of one step, each of 4^step quads: the vertices at their `corners` (b, 4), and along their `sides`
    (b, 4, 2^step + 1); side s goes from corner s to the next. `whole` (b,): the quads of a block join along sides that
    no other quad has."""

    step: int
    corners: Ints
    sides: Ints
    whole: Flags

    def away(self, number: NDArray, corner: NDArray) -> Ints:
        """(k, 2^(step + 1) + 1) the vertices along both sides of the blocks `number` (k,) that do not touch their
        `corner` (k,), in order."""
        first, second = self.sides[number, (corner + 1) % 4], self.sides[number, (corner + 2) % 4]
        return np.concatenate([first, second[:, 1:]], axis=1)

    def joined(self) -> Blocks | None:
        """The blocks of the next step, None where these do not stand in blocks of four."""
        if not len(self.corners) or len(self.corners) % 4:
            return None
        child, sides = self.corners.reshape(-1, 4, 4), self.sides.reshape(-1, 4, 4, self.sides.shape[2])
        following = np.roll(child, -1, axis=1)
        if (child[:, :, 2] != child[:, :1, 2]).any() or (child[:, :, 1] != following[:, :, 3]).any():
            return None
        number = np.arange(4)
        after = (number + 1) % 4
        inner = (sides[:, number, 1] == sides[:, after, 2, ::-1]).all(axis=(1, 2))
        outer = np.concatenate([sides[:, number, 0], sides[:, after, 3, 1:]], axis=2)
        whole = inner & self.whole.reshape(-1, 4).all(axis=1)
        return Blocks(self.step + 1, np.ascontiguousarray(child[:, :, 0]), outer, whole)


def blocks_of(polygons: Polygons) -> list[Blocks]:
    """The blocks of a mesh from step 0, the quads themselves, up to MOST; none where not all polygons are quads."""
    if not polygons.n_faces or (polygons.counts != 4).any():
        return []
    corners = polygons.indices.reshape(-1, 4)
    sides = np.stack([corners, np.roll(corners, -1, axis=1)], axis=2)
    steps = [Blocks(0, corners, sides, np.ones(len(corners), dtype=bool))]
    while len(steps) <= MOST and (coarser := steps[-1].joined()) is not None:
        steps.append(coarser)
    return steps
