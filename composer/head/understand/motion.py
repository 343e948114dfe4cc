"""The shapes of a head without the head's own motion, read piece by piece so that the library is never copied whole.

Each shape's rigid motion is the one on which the most of the skin agrees: reweighted least squares (Geman and McClure
1987), the scale being what three tenths of the skin stay under.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import read_only
from composer.head.head import Head
from composer.head.understand.pieces import Pieces
from composer.head.understand.rigid_fits import fit_rigid

Floats = NDArray[np.float64]
SAMPLE = 800
"""Vertices of the skin that the head's motion is found from: enough for a rigid motion, few enough to be quick."""
ROUNDS = 18
QUIET = 0.3
"""The share of the skin that is taken to be still in every shape (common practice, no source)."""
SEEN = 1.5e-4
"""Of the skin's size: less head motion is left in, being the expression's own share of the estimate."""


class Motion:
    """What the shapes of a head move, head motion taken out. All in mm."""

    def __init__(self, head: Head, pieces: Pieces) -> None:
        self.head = head
        self.pieces = pieces
        skin = pieces.of[pieces.skin] if len(pieces) else np.zeros(0, dtype=np.int32)
        self.skin = skin
        self.size = float(np.linalg.norm(np.ptp(head.neutral[skin], axis=0))) if len(skin) else 0.0
        self.count = len(head.expressions)
        self._turns = np.tile(np.eye(3), (self.count, 1, 1))
        self._shifts = np.zeros((self.count, 3))
        if self.count and len(skin) > 3:
            self._find_head_motion()

    def of(self, vertices: NDArray) -> Floats:
        """(s, k, 3) what every shape does at `vertices` (k,)."""
        moved = np.empty((self.count, len(vertices), 3))
        for i in range(self.count):
            moved[i] = self.one(i, vertices)
        return moved

    def one(self, i: int, vertices: NDArray) -> Floats:
        """(k, 3) what shape `i` does at `vertices` (k,)."""
        delta = self.head.expressions[i].delta[vertices].astype(np.float64)
        return self._still(i, self.head.neutral[vertices], delta) if self.carries[i] else delta

    def shape(self, i: int) -> Floats:
        """(n, 3) what shape `i` does at every vertex."""
        delta = self.head.expressions[i].delta.astype(np.float64)
        return self._still(i, self.head.neutral, delta) if self.carries[i] else delta

    @cached_property
    def carries(self) -> NDArray[np.bool_]:
        """(s,) which shapes carry head motion that is seen."""
        if not self.count or not len(self.skin):
            return np.zeros(self.count, dtype=bool)
        points = self.head.neutral[self.skin[:: max(1, len(self.skin) // 64)]]
        moved = np.einsum("sij,kj->ski", self._turns, points) + self._shifts[:, None] - points
        return np.linalg.norm(moved, axis=2).max(axis=1) > SEEN * self.size

    @cached_property
    def furthest(self) -> Floats:
        """(n,) how far any shape moves each vertex at most."""
        most = np.zeros(self.head.n_vertices)
        for i in range(self.count):
            delta = self.shape(i)
            np.maximum(most, np.einsum("ij,ij->i", delta, delta), out=most)
        return read_only(np.sqrt(most))

    def _still(self, i: int, points: Floats, delta: Floats) -> Floats:
        return (points + delta - self._shifts[i]) @ self._turns[i] - points

    def _find_head_motion(self) -> None:
        some = self.skin[np.linspace(0, len(self.skin) - 1, min(SAMPLE, len(self.skin))).astype(int)]
        points = self.head.neutral[some]
        deltas = np.array([shape.delta[some] for shape in self.head.expressions], dtype=np.float64)
        weights: Floats | None = None
        for _ in range(ROUNDS):
            fits = fit_rigid(points, deltas, weights)
            scale = np.maximum(np.quantile(fits.residual, QUIET, axis=1), 1e-4 * self.size)
            weights = 1.0 / (1.0 + (fits.residual / scale[:, None]) ** 2) ** 2
        self._turns, self._shifts = fits.turns, fits.shifts
