"""Ridge lines of a mesh: where the largest curvature is greatest across the line, as along a rim.

On an edge of the mesh a ridge passes where the slope of the largest curvature along its own direction changes from
rising to falling (Ohtake, Belyaev and Seidel 2004, "Ridge-valley lines on meshes via implicit surface fitting"). Two
such places on one triangle are joined; pieces that are too short are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.geometry.curvature import curvature, gradients
from composer.geometry.vectors import dot

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Ridges:
    """Places of ridges, k of them: each on the edge between the vertices `ends` (k, 2), at the `share` (k,) in [0, 1]
    of the way. `sharp` (k,) in 1/mm is the curvature across, `joined` (s, 2) pairs of neighbours, `line` (k,) the
    number of the line that each belongs to."""

    ends: Ints
    share: Rows
    sharp: Rows
    joined: Ints
    line: Ints

    def at(self, values: Rows) -> Rows:
        """(k, c) what `values` (n, c) at the vertices are at the places."""
        one, other = values[self.ends[:, 0]], values[self.ends[:, 1]]
        return one + self.share[:, None] * (other - one)

    def along(self, places: Rows) -> Rows:
        """(k, 3) the unit direction of the lines, up to its sign, where their places lie at `places` (k, 3)."""
        spread = np.zeros((len(places), 3, 3))
        way = places[self.joined[:, 1]] - places[self.joined[:, 0]]
        square = way[:, :, None] * way[:, None, :]
        for side in (0, 1):
            np.add.at(spread, self.joined[:, side], square)
        return np.linalg.eigh(spread)[1][:, :, 2]

    def lengths(self, places: Rows) -> Rows:
        """(k,) mm, half the length of the pieces of line at each place."""
        way = np.linalg.norm(places[self.joined[:, 1]] - places[self.joined[:, 0]], axis=1)
        one, other = (np.bincount(self.joined[:, side], way, len(places)) for side in (0, 1))
        return np.asarray(0.5 * (one + other), dtype=np.float64)

    def some(self, chosen: NDArray[np.bool_]) -> Ridges:
        """The places flagged in `chosen` (k,) alone."""
        rank = np.cumsum(chosen) - 1
        kept = self.joined[chosen[self.joined].all(axis=1)]
        return Ridges(self.ends[chosen], self.share[chosen], self.sharp[chosen], rank[kept], self.line[chosen])


def ridges(
    positions: Rows, triangles: NDArray, width_mm: float, sharp: float, narrow: float, least_mm: float
) -> Ridges:
    """The ridge lines of `triangles` (t, 3) over `positions` (n, 3) mm, of curvature smoothed over `width_mm`.

    Only places count whose curvature across is at least `sharp` 1/mm and `narrow` times that along the line, and only
    lines of at least `least_mm`.
    """
    bend = curvature(positions, triangles, width_mm)
    area = np.linalg.norm(np.cross(
        positions[triangles[:, 1]] - positions[triangles[:, 0]], positions[triangles[:, 2]] - positions[triangles[:, 0]]
    ), axis=1)  # fmt: skip
    slope = gradients(positions, triangles, bend.largest[:, None])[:, :, 0]
    summed = np.zeros_like(positions)
    for axis in range(3):
        summed[:, axis] = np.bincount(triangles.ravel(), np.repeat(area * slope[:, axis], 3), len(positions))
    edges, corner_edge = _edges(triangles, len(positions))
    i, j = edges.T
    way = positions[j] - positions[i]
    same = np.where(dot(bend.across[i], bend.across[j]) < 0.0, -1.0, 1.0)
    rise_i, rise_j = dot(summed[i], bend.across[i]), same * dot(summed[j], bend.across[j])
    toward_i, toward_j = dot(way, bend.across[i]), same * dot(way, bend.across[j])
    crest = (rise_i * rise_j < 0.0) & ((rise_i * toward_i > 0.0) | (rise_j * toward_j < 0.0))
    share = np.abs(rise_i) / np.maximum(np.abs(rise_i) + np.abs(rise_j), 1e-300)
    largest = (1.0 - share) * bend.largest[i] + share * bend.largest[j]
    other = np.maximum(np.abs((1.0 - share) * bend.other[i] + share * bend.other[j]), 1e-12)
    crest &= (largest >= sharp) & (largest >= narrow * other)
    number = np.cumsum(crest) - 1
    on = crest[corner_edge]
    joined = [
        number[corner_edge[both][:, [a, b]]]
        for a, b in ((0, 1), (1, 2), (2, 0))
        for both in [on[:, a] & on[:, b]]
    ]
    pairs = np.concatenate(joined)
    count = int(crest.sum())
    found = Ridges(edges[crest], share[crest], largest[crest], pairs, np.zeros(count, dtype=np.int64))
    links = sp.csr_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    label = connected_components(links, directed=False)[1]
    lengths = np.bincount(label, found.lengths(found.at(positions)), label.max(initial=-1) + 1)
    found = Ridges(found.ends, found.share, found.sharp, pairs, label.astype(np.int64))
    return found.some(lengths[label] >= least_mm)


def _edges(triangles: NDArray, n: int) -> tuple[Ints, Ints]:
    """(e, 2) the edges of triangles (t, 3), and (t, 3) the number of each triangle's edges."""
    ends = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].astype(np.int64), axis=2)
    key, where = np.unique(ends[..., 0] * n + ends[..., 1], return_inverse=True)
    return np.stack([key // n, key % n], axis=1), where.reshape(-1, 3)
