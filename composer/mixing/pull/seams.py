"""How much more the seams of a pose strain than the shapes alone would, on all edges of the patch or on some of them.

The envelope of an edge's stretch is what the shapes alone, each at its weight, do to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.mixing.pull.skin import Patch

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
STEP = 1e-3
"""A seam runs along edges on which some share changes by more than this. A design choice, no source."""
MOST = 3000
"""Edges that are judged while the length of a pull is searched for. A design choice, no source."""


@dataclass(frozen=True, eq=False)
class SeamEdges:
    """Some `edges` (k,) of those of `Seams`, and the vertices of the patch at their ends, `one` and `other` (k,)."""

    edges: NDArray[np.int64]
    one: NDArray[np.int64]
    other: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Envelope:
    """The `length` (k,) mm at rest of some edges, the range from `bottom` to `top` (k,) in which shapes alone stretch
    them, and how far beyond it they are `before` (k,)."""

    length: Floats
    top: Floats
    bottom: Floats
    before: Floats

    def rise(self, way: NDArray, alone: Sequence[NDArray]) -> float:
        """The 99th percentile of the rise in strain beyond the envelope on the edges, which are `way` (k, 3) mm in a
        pose; `alone` (k, 3) mm are these edges as the shapes of cells that change make them. 0 without edges."""
        if not len(self.length):
            return 0.0
        top, bottom = self.top, self.bottom
        for each in alone:
            stretch = np.sqrt(np.einsum("ij,ij->i", each, each)) / self.length
            top, bottom = np.maximum(top, stretch), np.minimum(bottom, stretch)
        rise = beyond(np.sqrt(np.einsum("ij,ij->i", way, way)) / self.length, top, bottom) - self.before
        return upper_percentile(rise)


class Seams:
    """Edges (e,) of a patch in one pose, and the range in which the recipe's own shapes stretch each."""

    def __init__(
        self, patch: Patch, places: NDArray, alone: Iterable[NDArray], shares: Mapping[str, NDArray],
    ) -> None:  # fmt: skip
        """`places` (m, 3) mm are the pose at the press, `alone` (m, 3) mm what each shape of the recipe does alone and
        everywhere, `shares` (n,) those of the rows."""
        self.ends, self.length, self.rest = patch.edges, patch.length, patch.way(patch.positions)
        self._at = patch.vertices[patch.edges]
        self._shares, self._steps = shares, dict[str, Bools]()
        self._of_rows: dict[frozenset[str], SeamEdges] = {}
        self._along: dict[int, tuple[NDArray, NDArray]] = {}
        self.top, self.bottom = np.ones(len(self.ends)), np.ones(len(self.ends))
        for each in alone:
            stretch = self._stretch(self.rest + patch.way(each))
            np.maximum(self.top, stretch, out=self.top)
            np.minimum(self.bottom, stretch, out=self.bottom)
        self.before = beyond(self._stretch(patch.way(places)), self.top, self.bottom)

    def some(self, regions: Iterable[str]) -> Seams:
        """At most MOST of the edges on which the share of one of the regions changes, spread over all of them."""
        seam = np.flatnonzero(self.on_seam(regions))
        seam = seam[:: max(1, -(-len(seam) // MOST))]
        other = object.__new__(Seams)
        other._shares, other._steps, other._of_rows, other._along = self._shares, {}, {}, {}
        for name in ("ends", "length", "rest", "_at", "top", "bottom", "before"):
            setattr(other, name, getattr(self, name)[seam])
        return other

    def on_seam(self, regions: Iterable[str]) -> Bools:
        """(e,) whether the share of one of the regions changes along an edge."""
        found = np.zeros(len(self.ends), dtype=bool)
        for region in regions:
            if region not in self._steps:
                share = self._shares[region]
                self._steps[region] = np.abs(share[self._at[:, 1]] - share[self._at[:, 0]]) > STEP
            found |= self._steps[region]
        return found

    def of_rows(self, regions: Iterable[str]) -> SeamEdges:
        """The edges on which the share of one of the regions changes, found once for the same regions."""
        known = frozenset(regions)
        if known not in self._of_rows:
            edges = np.flatnonzero(self.on_seam(known))
            ends = self.ends[edges]
            self._of_rows[known] = SeamEdges(edges, ends[:, 0].copy(), ends[:, 1].copy())
        return self._of_rows[known]

    def envelope(self, edges: NDArray[np.int64]) -> Envelope:
        """The envelope of some of the edges."""
        return Envelope(self.length[edges], self.top[edges], self.bottom[edges], self.before[edges])

    def along(self, field: NDArray, edges: NDArray[np.int64]) -> NDArray:
        """(k, 3) how a field of the head (n, 3) changes along some of the edges; made once for all of them, as one pull
        asks for the same few fields again and again."""
        known = self._along.get(id(field))
        if known is None or known[0] is not field:
            whole = np.take(field, self._at[:, 1], axis=0) - np.take(field, self._at[:, 0], axis=0)
            known = self._along[id(field)] = field, whole
        return np.asarray(np.take(known[1], edges, axis=0))

    def _stretch(self, way: Floats) -> Floats:
        return np.asarray(np.sqrt(np.einsum("ij,ij->i", way, way)) / self.length)


def upper_percentile(values: Floats) -> float:
    """The 99th percentile of some values, as numpy's `quantile` gives it."""
    place = 0.99 * (len(values) - 1)
    low = int(place)
    high = min(low + 1, len(values) - 1)
    sorted_there = np.partition(values, (low, high))
    return float(sorted_there[low] + (place - low) * (sorted_there[high] - sorted_there[low]))


def beyond(stretch: Floats, top: Floats, bottom: Floats) -> Floats:
    """(e,) how far stretches lie beyond their envelope, as a ratio above 1; 0 within it."""
    return np.maximum(np.maximum(stretch / top, bottom / np.maximum(stretch, 1e-3)) - 1.0, 0.0)
