"""The columns of a match, freed of what a small motion of the whole head can do.

A frame is a pose that the head's own motion has turned and shifted. Where that motion is known only nearly, what is
left of it is a small rigid motion, w x p + t at a vertex p, and lies in six columns C beside the columns A of the
cells. Solving both together and keeping the weights is the same as solving with A'(I - P)A and A'(I - P)b, where P =
C (C'C)^-1 C' projects onto the six (Golub and Pereyra 1973, "The Differentiation of Pseudo-Inverses and Nonlinear Least
Squares Problems Whose Variables Separate": variable projection). So the weights do not feel an error of the motion, to
first order. A shape that is little else than a motion of the head cannot be told from it, and gets no weight.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.mixing.match import DEAD, Columns
from composer.mixing.match_bounded import Floats

LEAST_OWN = 0.05
"""A column of which less than this share of its length is left without head motion is head motion (our choice)."""


class FreedColumns:
    """`columns` without small rigid motions of all vertices of their head.

    >>> from composer.geometry.polygons import Polygons
    >>> from composer.head.head import Head, Shape
    >>> from composer.mixing.linear import Mixer
    >>> corners = np.array([[x, y, z] for x in (0, 9) for y in (0, 9) for z in (0, 9)], dtype=np.float64)
    >>> lift, nod = np.zeros((8, 3), np.float32), np.ones((8, 3), np.float32)
    >>> lift[0] = [2, 0, 0]
    >>> head = Head("h", Polygons.from_faces([[0, 1, 2]], 8), corners, (Shape("lift", lift), Shape("nod", nod)))
    >>> freed = FreedColumns(Columns(Mixer(head, {}), ["all"], ["lift", "nod"]))
    >>> freed.alive.tolist(), bool(np.abs(freed.onto(5.0 * nod)[0]).max() < 1e-9)
    ([True, False], True)
    """

    def __init__(self, columns: Columns) -> None:
        self.columns = columns
        points = columns.mixer.head.neutral
        middle = points.mean(axis=0) if len(points) else np.zeros(3)
        arm = points - middle
        size = float(np.sqrt(np.mean(np.square(arm)))) or 1.0
        fields = np.zeros((6, *points.shape))
        for axis in range(3):
            fields[axis, :, axis] = 1.0
            fields[3 + axis] = np.cross(np.eye(3)[axis], arm) / size
        self._fields = fields.reshape(6, -1)
        self._inverse: Floats = np.linalg.pinv(self._fields @ self._fields.T, hermitian=True)
        self._shared: Floats = np.stack([columns.onto(field) for field in fields], axis=1)

    @cached_property
    def gram(self) -> Floats:
        """(k, k) mm^2, A'(I - P)A, in the order of the columns' `keys`."""
        return self.columns.gram - self._shared @ self._inverse @ self._shared.T

    @cached_property
    def lengths(self) -> Floats:
        """(k,) mm, the length of every column without head motion."""
        return np.sqrt(np.maximum(np.diagonal(self.gram), 0.0))

    @cached_property
    def alive(self) -> NDArray[np.bool_]:
        """(k,) whether a column moves anything, and not the head as a whole."""
        moves: NDArray[np.bool_] = self.columns.alive & (self.lengths > DEAD * self.columns.mixer.head.diagonal)
        return moves & (self.lengths > LEAST_OWN * self.columns.lengths)

    @property
    def like_head_motion(self) -> list[str]:
        """The shapes that are little else than a motion of the head over the whole face."""
        found = self.columns.alive & ~self.alive
        return list(dict.fromkeys(key[1] for key, so in zip(self.columns.keys, found, strict=True) if so))

    def onto(self, b: NDArray) -> tuple[Floats, float]:
        """(k,) mm^2, A'(I - P)b of a displacement (n, 3) mm, and b'(I - P)b."""
        small = self._fields @ b.ravel()
        return self.columns.onto(b) - self._shared @ (self._inverse @ small), self._left(b, small)

    def squares(self, b: NDArray) -> float:
        """mm^2, b'(I - P)b of a displacement (n, 3) mm."""
        return self._left(b, self._fields @ b.ravel())

    def _left(self, b: NDArray, small: Floats) -> float:
        """mm^2, b'(I - P)b, where `small` (6,) is C'b."""
        return max(float(np.vdot(b, b) - small @ self._inverse @ small), 0.0)
