"""Where a seamless join may move the skin: the ramps of the masks, a halo beside them, and the hold within.

A ramp is where a mask changes and is neither 0 nor 1; without a halo nothing else moves. The width of a ramp is that of
a smoothstep with the same slopes: a smoothstep over W has a mean slope, weighted by the slope itself, of 1.2 / W on
any triangles. The halo reaches `halo` times the width, along the surface, beyond the first vertices where the mask is
constant. The zone depends on the masks alone, never on weights, so a pose is continuous in its weights.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import dijkstra

from composer.geometry.polygons import read_only
from composer.mixing.seamless_surface import SeamlessSurface

Floats = NDArray[np.float64]

STEP = 1e-3
"""An edge is on a ramp if the mask changes by more than this along it. A design choice, no source."""
REST = 1e-9
"""A mask within this of 0 or 1 counts as 0 or 1: rounding."""
FLAT = 0.3
"""The hold to the linear join falls to 0 over this fraction of the zone's width, from its edge inwards. A design
choice, no source.
"""


@dataclass(frozen=True, eq=False)
class Ramp:
    """The ramp of one `mask` (n,): whether a vertex lies `on` it (n,), or `touches` it (n,), which includes the first
    vertices beyond; the `slope` per mm at each vertex (n,), and its width in mm.

    A mask that never changes has no ramp and a width of 0.
    """

    mask: Floats
    on: NDArray[np.bool_]
    touches: NDArray[np.bool_]
    slope: Floats
    width_mm: float


def ramp_of(skin: SeamlessSurface, mask: NDArray) -> Ramp:
    """The ramp of a mask (n,)."""
    surface, n = skin.surface, skin.n_vertices
    i, j = skin.ends.T
    steep = np.abs(mask[i] - mask[j]) > STEP
    touches = np.zeros(n, dtype=bool)
    touches[i[steep]] = touches[j[steep]] = True
    touches &= ~skin.held
    triangles, share = surface.fans
    chosen = np.flatnonzero(touches[triangles].any(axis=1))
    slope, area = _slopes(surface.positions, triangles[chosen], mask)
    area *= share[chosen]
    total, squared = float(area @ slope), float(area @ slope**2)
    shared = np.bincount(triangles[chosen].ravel(), weights=np.repeat(area * slope, 3), minlength=n)
    about = np.bincount(triangles[chosen].ravel(), weights=np.repeat(area, 3), minlength=n)
    at = np.divide(shared, about, out=np.zeros(n), where=about > 0)
    touches &= at > 0
    on = touches & (mask > REST) & (mask < 1.0 - REST)
    return Ramp(mask, read_only(on), read_only(touches), read_only(at), 1.2 * total / squared if squared > 0 else 0.0)


def _slopes(positions: NDArray, triangles: NDArray, mask: NDArray) -> tuple[Floats, Floats]:
    """(t,) slope per mm of a mask (n,) on triangles (t, 3), and (t,) their areas in mm^2."""
    corners, values = positions[triangles], mask[triangles]
    e1, e2 = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    d1, d2 = values[:, 1] - values[:, 0], values[:, 2] - values[:, 0]
    a, b, c = (np.einsum("ij,ij->i", p, q) for p, q in ((e1, e1), (e1, e2), (e2, e2)))
    squared_area = a * c - b * b
    fine = squared_area > 1e-12 * a * c
    safe = np.where(fine, squared_area, 1.0)
    squared = np.where(fine, (c * d1 * d1 - 2.0 * b * d1 * d2 + a * d2 * d2) / safe, 0.0)
    return np.sqrt(np.maximum(squared, 0.0)), 0.5 * np.sqrt(np.maximum(squared_area, 0.0))


@dataclass(frozen=True, eq=False)
class Zone:
    """The vertices `free` (f,) that a join may move.

    `ramp` (n,) whether a vertex lies on a ramp; `width` (n,) mm of the ramp that a vertex belongs to, without its
    halo, 0 far from any; `hold` (f,) in [0, 1], 0 in the middle and 1 at the zone's edge; `beside` (n,) the vertices
    of ramp and halo that are held fixed; `loose` the number of vertices left out because their whole piece of the
    surface lies in the zone.
    """

    free: NDArray[np.int64]
    ramp: NDArray[np.bool_]
    width: Floats
    hold: Floats
    beside: NDArray[np.bool_]
    loose: int
    halo: float


def zone_of(skin: SeamlessSurface, ramps: Sequence[Ramp], halo: float) -> Zone:
    """The zone of all `ramps` together with a halo of `halo` (0 to 1) times their widths."""
    n = skin.n_vertices
    on, touched = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    weighted, slopes = np.zeros(n), np.zeros(n)
    for ramp in ramps:
        on |= ramp.on
        touched |= ramp.touches
        weighted += ramp.slope * ramp.width_mm
        slopes += ramp.slope
    start = np.flatnonzero(touched if halo > 0.0 else on)
    if not len(start):
        return Zone(np.zeros(0, np.int64), read_only(on), np.zeros(n), np.zeros(0), np.zeros(n, bool), 0, halo)
    own_width = np.divide(weighted, slopes, out=np.zeros(n), where=slopes > 0)
    widest = float(own_width[start].max())
    reach = (halo + FLAT) * widest + 1e-9
    away, _, source = dijkstra(
        skin.graph, directed=True, indices=start, min_only=True, limit=reach, return_predecessors=True
    )
    near = np.flatnonzero(np.isfinite(away))
    width = np.zeros(n)
    width[near] = own_width[source[near]]
    inside = np.zeros(n, dtype=bool)
    inside[near] = away[near] <= halo * width[near] * (1.0 + 1e-9)
    beside = inside & skin.held
    inside &= ~skin.held
    loose = _loose(skin, inside)
    inside[loose] = False
    free = np.flatnonzero(inside)
    hold = _hold(skin, inside, width, halo)
    return Zone(free, read_only(on), read_only(width), hold, read_only(beside), len(loose), halo)


def _loose(skin: SeamlessSurface, inside: NDArray) -> NDArray[np.int64]:
    """Vertices on pieces of the surface that lie entirely in the zone."""
    pieces = skin.surface.polygons.components
    resting = np.bincount(pieces[~inside], minlength=int(pieces.max(initial=0)) + 1)
    return np.flatnonzero(inside & (resting[pieces] == 0))


def _hold(skin: SeamlessSurface, inside: NDArray, width: NDArray, halo: float) -> Floats:
    """(f,) 1 at the edge of the zone, falling to 0 at FLAT times the zone's width within."""
    free = np.flatnonzero(inside)
    reach = FLAT * (1.0 + 2.0 * halo) * width[free]
    i, j = skin.ends.T
    across = inside[i] != inside[j]
    edge = np.unique(np.where(inside[i[across]], j[across], i[across]))
    if not len(edge):
        return np.zeros(len(free))
    limit = float(reach.max(initial=0.0)) + 1e-9
    depth = dijkstra(skin.graph, directed=True, indices=edge, min_only=True, limit=limit)[free]
    return np.asarray(np.clip(1.0 - depth / np.maximum(reach, 1e-12), 0.0, 1.0))
