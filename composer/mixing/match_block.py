"""The columns of one region in a match: its shapes' displacements under its mask, held, or made part by part.

Held they are quick to use again; of a large head they would take 24 bytes a vertex and shape (a library of 240 shapes
at 640,000 vertices: 3.7 GB), so there each part is made when it is used and goes again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.mixing.match_bounded import Floats

PART_BYTES = 64 * 2**20
"""Bytes of a part that is made and goes again (our choice)."""


class MatchBlock:
    """The fields (s, 3 m) mm of the shapes' `deltas`, s of (n, 3), at the `vertices` (m,) where a region's `mask` (m,)
    is not zero. `held` keeps them all. `along` (m, n) is what they move beyond mask times displacement, as parts of
    `Standing.rows`, None for nothing."""

    def __init__(
        self, vertices: NDArray[np.int64], mask: Floats, deltas: Sequence[NDArray], held: bool,
        along: sp.csr_matrix | None = None,
    ) -> None:  # fmt: skip
        self.vertices, self.mask, self.deltas, self.along = vertices, mask, deltas, along
        self._fields = self._made(0, len(vertices)) if held else None

    @property
    def nbytes(self) -> int:
        """Bytes of the fields, held or not."""
        return 24 * len(self.deltas) * len(self.vertices)

    def fields(self, start: int, stop: int) -> Floats:
        """(s, 3 (stop - start)) the fields at some of its vertices, by their place among them."""
        if self._fields is None:
            return self._made(start, stop)
        return self._fields[:, 3 * start : 3 * stop]

    def parts(self) -> Iterator[tuple[int, int]]:
        """Places (start, stop) that go through its vertices, all at once where the fields are held."""
        count = len(self.vertices)
        step = count if self._fields is not None else max(PART_BYTES // max(24 * len(self.deltas), 1), 1)
        yield from ((start, min(start + step, count)) for start in range(0, count, max(step, 1)))

    def with_itself(self) -> Floats:
        """(s, s) mm^2, A'A of its columns."""
        total = np.zeros((len(self.deltas), len(self.deltas)))
        for start, stop in self.parts():
            part = self.fields(start, stop)
            total += part @ part.T
        return total

    def with_other(self, other: MatchBlock, place: NDArray) -> Floats | None:
        """(s, s) mm^2, the products of its columns with another's; None where they share no vertex. `place` (n,) is
        that of each vertex among its own, below zero where it is not among them."""
        shared = np.flatnonzero(place[other.vertices] >= 0)
        if not len(shared):
            return None
        own = place[other.vertices[shared]]
        total = np.zeros((len(self.deltas), len(other.deltas)))
        step = max(PART_BYTES // (24 * len(self.deltas)), 1)
        whole = self._fields is not None and other._fields is not None
        for start in range(0, len(shared), len(shared) if whole else step):
            at = slice(start, start + (len(shared) if whole else step))
            total += self._at(own[at]) @ other._at(shared[at]).T
        return total

    def onto(self, b: NDArray) -> Floats:
        """(s,) mm^2, A'b of a displacement (n, 3) mm."""
        wanted = b[self.vertices]
        if self._fields is not None:
            return np.asarray(self._fields @ wanted.ravel())
        weighted = (self.mask[:, None] * wanted).ravel()
        found = np.array([np.dot(delta[self.vertices].ravel(), weighted) for delta in self.deltas])
        if self.along is not None:
            found += [float(np.vdot(self.along @ delta, wanted)) for delta in self.deltas]
        return found

    def moved(self, weights: Floats) -> Floats:
        """(m, 3) mm, A x of its columns with weights (s,)."""
        used = np.flatnonzero(weights)
        if self._fields is not None:
            moved = weights @ self._fields if 2 * len(used) > len(weights) else weights[used] @ self._fields[used]
            return np.asarray(moved.reshape(-1, 3))
        total = np.zeros((len(self.vertices), 3))
        beyond = np.zeros((len(self.vertices), 3))
        for each in used:
            total += weights[each] * self.deltas[int(each)][self.vertices]
            if self.along is not None:
                beyond += weights[each] * (self.along @ self.deltas[int(each)])
        return total * self.mask[:, None] + beyond

    def _made(self, start: int, stop: int) -> Floats:
        return self._under_mask(slice(start, stop))

    def _at(self, at: NDArray) -> Floats:
        if self._fields is None:
            return self._under_mask(at)
        return self._fields.reshape(len(self._fields), -1, 3)[:, at].reshape(len(self._fields), -1)

    def _under_mask(self, at: slice | NDArray) -> Floats:
        """(s, 3 k) the fields at some of its vertices, by their place among them."""
        vertices, weight = self.vertices[at], np.repeat(self.mask[at], 3)
        along = None if self.along is None else self.along[at]
        fields = np.empty((len(self.deltas), len(weight)))
        for one, delta in zip(fields, self.deltas, strict=True):
            np.multiply(delta[vertices].ravel(), weight, out=one)
            if along is not None:
                one += (along @ delta).ravel()
        return fields
