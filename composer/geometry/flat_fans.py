"""Vertices about which the triangles lie like a fan on a table: seen along one direction they cover it once at most.

Triangles about such a vertex meet at their common sides alone, so no two of them cross: they are star-shaped about the
vertex and apart in the projection (the condition of Volino and Magnenat-Thalmann 1994, "Efficient self-collision
detection on smoothly discretized surface animations using geometrical shape regularity", for one vertex).
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.geometry.vectors import cross, dot, unit_rows

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
TURN = 2.0 * np.pi + 1e-6
"""A fan that covers no more than a full turn; the margin is for rounding."""
FACES = 1e-6
"""Least sine of a corner's angle in the projection for it to count as seen from its front (our choice, far above
rounding; what is below it is tested triangle by triangle)."""


class FlatFans:
    """The fans about the n vertices of `triangles` (t, 3)."""

    def __init__(self, triangles: NDArray, n_vertices: int) -> None:
        self.triangles = np.asarray(triangles, dtype=np.int64)
        self.n_vertices = n_vertices

    @cached_property
    def _corners(self) -> tuple[Ints, Ints, Ints, Ints]:
        """(n + 1,) where each vertex's corners begin; its corners' vertex, the one after it and the one before it."""
        order = np.argsort(self.triangles.ravel(), kind="stable")
        starts = np.r_[0, np.cumsum(np.bincount(self.triangles.ravel(), minlength=self.n_vertices))]
        row, column = order // 3, order % 3
        return (
            starts, self.triangles[row, column], self.triangles[row, (column + 1) % 3],
            self.triangles[row, (column + 2) % 3],
        )  # fmt: skip

    @cached_property
    def single(self) -> Flags:
        """(n,) whether the triangles about a vertex are one fan, all turned the same way: each side at the vertex
        belongs to one of them, or to two that run along it in opposite directions."""
        _, vertex, after, before = self._corners
        n = self.n_vertices
        out, into = np.sort(vertex * n + after), np.sort(vertex * n + before)
        good = np.ones(n, dtype=bool)
        for keys in (out, into):
            good[keys[1:][keys[1:] == keys[:-1]] // n] = False
        place = np.minimum(np.searchsorted(into, out), max(len(into) - 1, 0))
        joined = out[into[place] == out] // n if len(out) else out
        missing = np.bincount(vertex, minlength=n) - np.bincount(joined, minlength=n)
        return good & (missing <= 1)

    def flat(self, positions: Floats, vertices: NDArray) -> Flags:
        """(k,) whether the fans about `vertices` (k,) are flat at `positions` (n, 3)."""
        starts, _, after, before = self._corners
        flat = self.single[vertices]
        which = np.flatnonzero(flat)
        chosen = np.asarray(vertices)[which]
        count = starts[chosen + 1] - starts[chosen]
        fan = np.repeat(np.arange(len(chosen)), count)
        corner = np.repeat(starts[chosen] - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))
        middle = positions[chosen][fan]
        one, other = positions[after[corner]] - middle, positions[before[corner]] - middle
        area = cross(one, other)
        towards = unit_rows(np.stack([np.bincount(fan, a, len(chosen)) for a in area.T], axis=1))[fan]
        up, other_up = dot(one, towards), dot(other, towards)
        sine, cosine = dot(area, towards), dot(one, other) - up * other_up
        front = sine > FACES * np.sqrt(np.maximum(dot(one, one) * dot(other, other), 0.0))
        hidden = np.bincount(fan, ~front, len(chosen)) > 0
        turn = np.bincount(fan, np.arctan2(sine, cosine), len(chosen))
        flat[which] = ~hidden & (turn <= TURN)
        return flat
