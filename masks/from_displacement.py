"""Regions from what moves together in a library, for heads that nobody has marked.

Seeds come one by one, as the sparse localised components of Neumann et al. 2013, "Sparse localized deformation
components", are begun: at the vertex that still moves most, take the way its motion goes along with the shapes,
take that much out of everything near it, look again. From the seeds, regions grow over the surface, slowly where
neighbours move differently (Joshi et al. 2003, "Learning controls for blend shape based realistic facial animation",
part the face where motion parts), so that borders lie where the library itself has them. The same input gives the
same regions; nothing is drawn at random.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from masks.errors import MaskError
from masks.marching import Marching
from masks.soften import smoothstep
from masks.surface import Floats, Surface

HELD = 0.97
"""Share of the library's motion that the moving part of the surface is chosen to hold before its ramp is added: what
the whole head moves with it, scans that were not quite still, stays outside.
"""
RELUCTANCE = 6.0
"""How many times slower a region grows between neighbours whose motions have nothing in common."""

APART = 0.4
"""Seeds lie further apart than this share of their reach."""


@dataclass(frozen=True, eq=False)
class MovingRegions:
    """`masks` {name: (n,)} summing to at most 1, strongest first; `seeds` {name: vertex}; `held`, the share of the
    library's motion (squared displacement by area) under the masks; `ramp_mm` between them.
    """

    masks: dict[str, Floats]
    seeds: dict[str, int]
    held: float
    ramp_mm: float


def from_displacement(
    surface: Surface,
    deltas: Sequence[ArrayLike] | NDArray,
    n_regions: int = 12,
    ramp_mm: float | None = None,
    skin: ArrayLike | None = None,
    partner: ArrayLike | None = None,
) -> MovingRegions:
    """Regions of what moves together in `deltas`, s arrays (n, 3) in mm.

    `n_regions` at most; fewer where the library has less to part. `ramp_mm` between them: unless said, a quarter
    of a region's mean width. `skin` (n,) bool leaves parts out. With `partner` (n,), the vertex on the other side of
    each, a seed on one side also seeds the other. Raises MaskError where there is no shape, none moves the skin,
    shapes or mirror map do not fit, or no region is asked for.
    """
    n = surface.n_vertices
    on_skin = np.ones(n, dtype=bool) if skin is None else np.asarray(skin, dtype=bool)
    if on_skin.shape != (n,):
        raise MaskError("the skin must be one flag a vertex")
    if n_regions < 1:
        raise MaskError("at least one region must be asked for")
    energy = _energy(deltas, n) * on_skin
    weighted = energy * surface.mass
    if not weighted.sum() > 0:
        raise MaskError("no shape moves the skin, so nothing moves together")
    moving = np.flatnonzero(_strongest(energy, weighted, HELD))
    motion = np.concatenate([_evened(np.asarray(delta)[moving]) for delta in deltas])
    width = float(np.sqrt(surface.mass[moving].sum() / n_regions))
    ramp = 0.25 * width if ramp_mm is None else float(ramp_mm)
    marching = Marching(surface, ~on_skin)
    other = None if partner is None else np.asarray(partner, dtype=np.int64)
    if other is not None and (other.shape != (n,) or not np.array_equal(np.sort(other), np.arange(n))):
        raise MaskError(f"the mirror map is not a permutation of the mesh's {n} vertices")
    seeds = _seeds(surface, marching, moving, motion, n_regions, 1.5 * width, other)
    labels = _grown(surface, moving, motion, seeds)
    weights = _softened(surface, marching, moving, labels, len(seeds), ramp)
    shares = (weights * weighted).sum(axis=1)
    order = np.argsort(-shares, kind="stable")
    digits = max(2, len(str(len(order))))
    names = [f"moves_{rank + 1:0{digits}d}" for rank in range(len(order))]
    return MovingRegions(
        {name: weights[r] for name, r in zip(names, order, strict=True)},
        {name: int(moving[seeds[r]]) for name, r in zip(names, order, strict=True)},
        float(shares.sum() / weighted.sum()),
        ramp,
    )


def _energy(deltas: Sequence[ArrayLike] | NDArray, n: int) -> Floats:
    """(n,) squared displacement of each vertex, summed over the shapes, mm^2."""
    if len(deltas) == 0:
        raise MaskError("the library has no shape to look at")
    energy = np.zeros(n)
    for i, delta in enumerate(deltas):
        moved = np.asarray(delta)
        if moved.shape != (n, 3):
            raise MaskError(f"shape {i} has {moved.shape} numbers, the mesh {n} vertices")
        if not np.isfinite(moved).all():
            raise MaskError(f"shape {i} moves a vertex by what is not a number")
        energy += np.einsum("ij,ij->i", moved, moved, dtype=np.float64)
    return energy


def _evened(moved: NDArray) -> NDArray[np.float32]:
    """(3, m) a shape's displacement (m, 3) over the square root of its largest, so that a dropped jaw does not speak
    louder than every brow and lid together.
    """
    largest = float(np.sqrt(np.einsum("ij,ij->i", moved, moved, dtype=np.float64).max(initial=0.0)))
    return (moved.T / np.sqrt(max(largest, 1e-12))).astype(np.float32)


def _strongest(energy: Floats, weighted: Floats, share: float) -> NDArray[np.bool_]:
    """(n,) the vertices that move most and together hold this share of the whole motion."""
    order = np.argsort(-energy, kind="stable")
    held = np.cumsum(weighted[order])
    last = int(np.searchsorted(held, share * held[-1]))
    return energy >= max(float(energy[order[min(last, len(order) - 1)]]), np.finfo(float).tiny)


def _seeds(
    surface: Surface,
    marching: Marching,
    moving: NDArray,
    motion: NDArray,
    count: int,
    reach_mm: float,
    partner: NDArray | None,
) -> list[int]:
    """Places in `moving` (m,) from which regions grow; `motion` (3 s, m) is what moves there."""
    place = np.full(surface.n_vertices, -1, dtype=np.int64)
    place[moving] = np.arange(len(moving))
    left = motion.copy()
    mass = surface.mass[moving]
    whole = float((np.einsum("ij,ij->j", motion, motion, dtype=np.float64) * mass).sum())
    seeds: list[int] = []
    due: list[int] = []
    taken = np.zeros(len(moving), dtype=bool)
    while len(seeds) < min(count, len(moving)):
        still = np.einsum("ij,ij->j", left, left, dtype=np.float64)
        still[taken] = -1.0
        if float(np.maximum(still * mass, 0.0).sum()) <= 1e-4 * whole:
            break
        if due and not taken[due[0]]:
            centre = due.pop()
        else:
            centre = int(np.argmax(still))
            twin = -1 if partner is None else int(place[partner[moving[centre]]])
            due = [twin] if twin >= 0 and twin != centre else []
        seeds.append(centre)
        way = np.linalg.svd(left[:, centre].reshape(-1, 3), full_matrices=False)[0][:, 0].astype(np.float32)
        far = marching.from_vertices([int(moving[centre])], reach_mm)
        near = np.flatnonzero(np.isfinite(far[moving]))
        taken |= far[moving] <= APART * reach_mm
        take = (1.0 - smoothstep(far[moving[near]] / reach_mm) ** 2).astype(np.float32)
        local = left[:, near].reshape(len(way), 3, -1)
        along = np.einsum("s,sdm->dm", way, local)
        left[:, near] = (local - take * way[:, None, None] * along[None]).reshape(len(left), -1)
    return seeds


def _grown(surface: Surface, moving: NDArray, motion: NDArray, seeds: list[int]) -> NDArray[np.int64]:
    """(m,) the seed from which each moving vertex is reached first; islands go to the seed nearest in space."""
    place = np.full(surface.n_vertices, -1, dtype=np.int64)
    place[moving] = np.arange(len(moving))
    ends = place[surface.polygons.edges]
    inside = (ends >= 0).all(axis=1)
    a, b = ends[inside].T
    size = np.sqrt(np.einsum("ij,ij->j", motion, motion, dtype=np.float64))
    apart = np.zeros(len(a))
    for row in motion:
        apart += (row[a] - row[b]).astype(np.float64) ** 2
    larger = np.maximum(np.maximum(size[a], size[b]), 1e-12)
    cost = surface.edge_lengths[inside] * (1.0 + RELUCTANCE * np.minimum(np.sqrt(apart) / larger, 1.0))
    graph = sp.csr_matrix((np.maximum(cost, 1e-12), (a, b)), shape=(len(moving), len(moving)))
    _, _, source = dijkstra(graph, directed=False, indices=seeds, min_only=True, return_predecessors=True)
    number = np.full(len(moving), -1, dtype=np.int64)
    number[seeds] = np.arange(len(seeds))
    labels = np.full(len(moving), -1, dtype=np.int64)
    reached = source >= 0
    labels[reached] = number[source[reached]]
    islands = np.flatnonzero(~reached)
    if len(islands):
        at = surface.positions[moving]
        labels[islands] = cKDTree(at[seeds]).query(at[islands])[1]
    return labels


def _softened(
    surface: Surface, marching: Marching, moving: NDArray, labels: NDArray, count: int, ramp_mm: float
) -> Floats:
    """(r, n) the labels with a ramp of `ramp_mm` between them, 1 in sum on all that moves, fading to 0 beyond it."""
    n = surface.n_vertices
    weights = np.zeros((count, n))
    if ramp_mm <= 0:
        for r in range(count):
            weights[r, moving[labels == r]] = 1.0
        return weights
    outer = np.zeros(n)
    away = marching.from_vertices(moving, ramp_mm)
    near = np.isfinite(away)
    outer[near] = smoothstep(1.0 - away[near] / ramp_mm)
    for r in range(count):
        mine = moving[labels == r]
        if len(mine):
            far = marching.from_vertices(mine, ramp_mm)
            reach = np.isfinite(far)
            weights[r, reach] = smoothstep(1.0 - far[reach] / ramp_mm)
    total = weights.sum(axis=0)
    return weights * (outer / np.maximum(total, 1e-12))
