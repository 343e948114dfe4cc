"""Across from a vertex: the places of the other lip or lid that it looks at in a pose, and the way between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
NEAR = 3
"""Vertices of the other side that make up a place across; their weights reach zero at the next one."""


@dataclass(frozen=True, eq=False)
class Across:
    """For vertices (p,) of a patch the place across, as patch vertices `corners` (p, 3) at weights `share` (p, 3)."""

    vertices: Ints
    corners: Ints
    share: Floats

    def gaps(self, positions: NDArray) -> Floats:
        """(p, 3) mm from the place across to the vertex, on a patch at `positions` (m, 3)."""
        return positions[self.vertices] - np.einsum("pk,pki->pi", self.share, positions[self.corners])

    def some(self, chosen: NDArray) -> Across:
        """Those of the vertices that are `chosen` (k,)."""
        return Across(self.vertices[chosen], self.corners[chosen], self.share[chosen])


def across(positions: NDArray, side: NDArray, other: NDArray) -> Across:
    """For the vertices `side` (p,) of a patch at `positions` (m, 3) the nearest places made of vertices `other` (q,).

    Weights are those of Franke and Nielson (Smooth interpolation of large sets of scattered data, 1980): a corner's
    weight is zero where it stops being among the nearest, so none jumps in or out.
    """
    k = min(NEAR + 1, len(other))
    away, near = cKDTree(positions[other]).query(positions[side], k=k)
    away, near = away.reshape(len(side), -1), near.reshape(len(side), -1)
    away = np.maximum(away, 1e-9 * max(float(away.max(initial=0.0)), np.finfo(float).tiny))
    share = (1.0 / away - 1.0 / (1.0001 * away[:, -1:])) ** 2
    share /= share.sum(axis=1, keepdims=True)
    if k > NEAR:
        share, near = share[:, :NEAR] / share[:, :NEAR].sum(axis=1, keepdims=True), near[:, :NEAR]
    return Across(np.asarray(side), np.asarray(other)[near], share)
