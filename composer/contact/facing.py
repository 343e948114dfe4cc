"""Two sides of a patch that can meet, such as two lips: in a pose, how high each vertex stands over the other side.

The places across are sought where the way along the parting direction counts a quarter, so that two sides which have
gone far through each other still find what lies across. The height is over the tangent planes of those places, blended
by weights that reach zero at the last of them (Franke and Nielson, Smooth interpolation of large sets of scattered
data, 1980). A height counts as far as both sides face each other, and where the way between them leads through air at
rest: skin beyond the corners looks the same way as its opposite, and the inside of a lip lies behind the other one
without touching it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.contact.across import Across
from composer.geometry.vectors import dot, lengths, unit_rows
from masks.soften import smoothstep

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
ALONG = 0.25
"""How much the way along the parting direction counts when places across are sought."""
NEAR = 16
"""Vertices that make up a place across. With 6 a pose that changes a little finds other ones, and jumps."""
SPREAD = 0.12
"""Edges of the lines: vertices nearer than this share a place across about evenly, so that none has all of it at once.
With 0.5 lids are left deeper (83 percent of what goes through is taken away in place of 90)."""
DEEPEST = 0.27
"""Of the lines' length: what lies further behind the other side is not behind it. Lips 14 mm, lids 9.5 mm."""
COARSE = 2.5
"""Edges of the lines: places are sought at least this far off."""
THROUGH_FLESH = 0.5
"""Cosine at rest between a side's normal and the way across: a way more backwards than this leads through flesh."""

NO_COVER = 0.15
"""Of what is near: with less than this share of it across, nothing is."""


@dataclass(frozen=True, eq=False)
class Heights:
    """How high vertices stand over the other side: `gap` (k,) mm, less than 0 behind it, at most `open_mm`, `out`
    (k, 3) the other side's direction outwards, the places `across`, and how far each counts (k,), in [0, 1]."""

    gap: Floats
    out: Floats
    across: Across
    counts: Floats


class FacingSide:
    """The vertices `own` (k,) of a patch and the `other` (q,) ones that they look at."""

    def __init__(
        self, rest: NDArray, normals: NDArray, own: NDArray, other: NDArray, length_mm: float, edge_mm: float
    ) -> None:  # fmt: skip
        """Take the patch at `rest` (m, 3) mm, its `normals` (m, 3) there, the length of the lines and their edge."""
        self.own, self.other = np.asarray(own), np.asarray(other)
        self.parting = unit_rows((normals[other].mean(axis=0) - normals[own].mean(axis=0))[None])[0]
        self._apart = SPREAD * edge_mm
        self._deepest = max(DEEPEST * length_mm, COARSE * edge_mm / ALONG)
        self.open_mm = 0.5 * self._deepest
        way = unit_rows((rest[other][None] - rest[own][:, None]).reshape(-1, 3)).reshape(len(own), len(other), 3)
        leaves = np.einsum("koi,ki->ko", way, normals[own]) > -THROUGH_FLESH
        arrives = np.einsum("koi,oi->ko", way, normals[other]) < THROUGH_FLESH
        self._air = leaves & arrives

    def heights(self, places: NDArray, normals: NDArray, even: NDArray) -> Heights:
        """How high the side's vertices stand, where the patch lies at `places` (m, 3) with `normals` (m, 3), which
        count as far as the triangles about them are `even` (m,), in [0, 1]: where skin is crumpled, a normal turns
        round in one step."""
        own, other = self.own, self.other
        reach, k = ALONG * self._deepest, min(NEAR + 1, len(other))
        tree = cKDTree(self._flat(places[other]), balanced_tree=False, compact_nodes=False)
        away, near = tree.query(self._flat(places[own]), k=k, distance_upper_bound=reach)
        away, near = away.reshape(len(own), k), near.reshape(len(own), k)
        gap, out = np.full(len(own), self.open_mm), np.zeros((len(own), 3))
        corners = np.repeat(own[:, None], max(k - 1, 1), axis=1)
        share, counts = np.zeros(corners.shape), np.zeros(len(own))
        on = np.flatnonzero(np.isfinite(away[:, 0]))
        if len(on):
            found = self._blended(places, normals, even, on, away[on], near[on])
            gap[on], out[on], corners[on], share[on], counts[on] = found
        return Heights(gap, out, Across(own, corners, share), counts)

    def _flat(self, places: NDArray) -> Floats:
        return np.asarray(places - (1.0 - ALONG) * (places @ self.parting)[:, None] * self.parting)

    def _blended(
        self, places: NDArray, normals: NDArray, even: NDArray, on: Ints, away: Floats, near: Ints
    ) -> tuple[Floats, Floats, Ints, Floats, Floats]:  # fmt: skip
        """Gap, direction, corners, shares and counts of the vertices `on` (p,) of the side, from the distances `away`
        (p, k) of what is `near` (p, k), infinite where there is no more."""
        reach = ALONG * self._deepest
        last = np.minimum(away[:, -1:], reach) if away.shape[1] > 1 else np.full((len(on), 1), reach)
        width = away.shape[1] - 1 if away.shape[1] > 1 else 1
        away, near = away[:, :width], np.minimum(near[:, :width], len(self.other) - 1)
        apart = self._apart**2
        share = 1.0 / np.sqrt(away * away + apart) - 1.0 / (1.0001 * np.sqrt(last * last + apart))
        np.maximum(share, 0.0, out=share)
        share *= share
        share /= np.maximum(share.sum(axis=1, keepdims=True), np.finfo(float).tiny)
        corners, own = self.other[near], self.own[on]
        toward, here = normals[self.other], normals[own]
        x, y, z = (toward[:, i].take(near) for i in range(3))  # axis by axis: many times as fast as rows of three
        looks = x * here[:, :1] + y * here[:, 1:2] + z * here[:, 2:]
        share *= self._air.ravel().take(on[:, None] * len(self.other) + near)
        share *= even[self.other].take(near)
        share *= smoothstep(0.5 - looks / 0.7)
        cover = share.sum(axis=1)
        share /= np.maximum(cover, 1e-9)[:, None]
        mean = np.stack([np.einsum("pk,pk->p", share, each) for each in (x, y, z)], axis=1)
        offset = dot(toward, places[self.other] - places[self.other[0]]).take(near)
        gap = dot(mean, places[own] - places[self.other[0]]) - np.einsum("pk,pk->p", share, offset)
        long = lengths(mean)
        out = unit_rows(mean)
        counts = smoothstep((0.25 - dot(out, here)) / 0.5) * smoothstep((long - 0.2) / 0.4)
        counts *= even[own] * smoothstep((reach - away[:, 0]) / (0.4 * reach)) * smoothstep((cover - NO_COVER) / 0.6)
        counts *= smoothstep((self._deepest + gap) / (0.2 * self._deepest))
        gap = np.minimum(np.where(gap < 0.0, counts * gap, gap), self.open_mm)
        return np.where(cover < NO_COVER, self.open_mm, gap), out, corners, share, counts
