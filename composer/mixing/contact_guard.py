"""A correction made smaller where it would turn a face over.

For a triangle with the normal n and the edges e, f, moved by a share s of a correction that changes them by d, g, the
area along n is A (1 + a s + b s^2). The share at which it falls to LEFT of A, with b taken as 0 where it is positive,
so that it changes steadily, is how far the triangle can follow. Every vertex follows as far as the triangles beside it
can, and the further away from them the more (a cone: the share rises by 1 over a length at most). After some rounds,
what is left is met by one share for all, so that no face turns against what it was. Faces that the pose has turned over
already are let go.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.contact.least import Faces
from composer.geometry.vectors import cross, dot

Floats = NDArray[np.float64]
LEFT = 0.15
"""A triangle keeps this share of its area, seen along its own normal."""
ROUNDS = 3
GIVES = 2.0
"""What a triangle that is not felt wholly may lose beyond that."""


class FaceGuard:
    """Holds corrections of one patch."""

    def __init__(self, rest: NDArray, triangles: NDArray, edge_mm: float, length_mm: float) -> None:
        """Take the patch at `rest` (m, 3) mm and its triangles (t, 3); a share is kept within `edge_mm` of a triangle
        and rises over `length_mm`."""
        self._rest, self._triangles = rest, triangles
        self._keep, self._rise = edge_mm, length_mm

    def held(self, faces: Faces, correction: Floats) -> Floats:
        """The `correction` (m, 3) mm of the patch whose triangles are `faces`, held back."""
        moves = np.flatnonzero((faces.counts > 0.0) & (correction[self._triangles] != 0.0).any(axis=(1, 2)))
        triangles, felt = self._triangles[moves], faces.counts[moves]
        e, f, n, size = faces.e[moves], faces.f[moves], faces.normal[moves], faces.size[moves]
        for _ in range(ROUNDS):
            share = _shares(triangles, e, f, n, size, felt, correction)
            few = np.flatnonzero(share < 1.0)
            if not len(few):
                return correction
            correction = correction * self._spread(triangles[few], share[few])[:, None]
        return correction * float(_shares(triangles, e, f, n, size, felt, correction).min(initial=1.0))

    def _spread(self, triangles: NDArray, share: Floats) -> Floats:
        """(m,) how far each vertex follows, where some triangles (k, 3) can by a `share` (k,)."""
        follows = np.ones(len(self._rest))
        for corner in range(3):
            held = self._rest[triangles[:, corner]]
            away = np.sqrt(np.maximum(_squares(self._rest, held), 0.0))
            rise = np.maximum(away - self._keep, 0.0) / self._rise
            follows = np.minimum(follows, (share[None] + rise).min(axis=1))
        return follows


def _shares(
    triangles: NDArray, e: Floats, f: Floats, n: Floats, size: Floats, felt: Floats, correction: Floats
) -> Floats:  # fmt: skip
    """(t,) in [0, 1], how far each triangle can follow; `felt` (t,) says how much that counts."""
    moved = correction[triangles]
    d, g = moved[:, 1] - moved[:, 0], moved[:, 2] - moved[:, 0]
    a = dot(n, cross(d, f) + cross(e, g)) / size
    b = np.minimum(dot(n, cross(d, g)) / size, 0.0)
    room = 1.0 - LEFT + GIVES * (1.0 - felt)
    # The positive root of room + a s + b s^2, written so that nothing cancels.
    root = 2.0 * room / np.maximum(-a + np.sqrt(a * a - 4.0 * b * room), 1e-12)
    return np.asarray(1.0 - felt * (1.0 - np.minimum(root, 1.0)))


def _squares(one: NDArray, other: NDArray) -> Floats:
    """(m, k) squared distances between places (m, 3) and (k, 3)."""
    mine, theirs = dot(one, one), dot(other, other)
    return np.asarray(mine[:, None] + theirs[None] - 2.0 * (one @ other.T))
