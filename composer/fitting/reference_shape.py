"""Vertices moved so that their neighbourhoods look as they do on a reference, turned and scaled as a whole.

As similar as possible: Sorkine and Alexa 2007, "As-rigid-as-possible surface modeling", with a scale for each vertex.
The best turn and scale of each neighbourhood (the local step) give the positions by one sparse solve (the global step),
with a factor that is made once.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.fitting.loops import Loops
from composer.geometry.nearest_turn import nearest_turns
from composer.geometry.part import part_of
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface, factorise

Rows = NDArray[np.float64]


class ReferenceShape:
    """The edges of a reference, and the factor of the global step over the vertices that move; `stiff` (m, n) is how
    these m are bound to their neighbours among all n."""

    def __init__(self, surface: Surface, moving: NDArray, stay: NDArray, links: NDArray | None = None) -> None:
        """`surface` (n vertices) is the reference, `moving` (m,) the vertices that move, and `stay` (m,) above 0 how
        much each is held to its present position, beside the shape of its neighbourhood (weight 1). `links` (l, 2) are
        further pairs of vertices that keep their offset, like edges."""
        n = surface.n_vertices
        edges = surface.polygons.edges.astype(np.int64)
        degree = np.maximum(surface.polygons.valence, 1).astype(np.float64)
        if links is not None and len(links):
            edges = np.concatenate([edges, links])
            degree = np.maximum(np.bincount(edges.ravel(), minlength=n), 1).astype(np.float64)
        a, b = np.concatenate([edges[:, 0], edges[:, 1]]), np.concatenate([edges[:, 1], edges[:, 0]])
        order = np.argsort(a, kind="stable")
        a, b = a[order], b[order]
        rest = surface.positions[a] - surface.positions[b]
        self.moving, self.stay = moving, stay
        weight = 0.5 / degree[a] + 0.5 / degree[b]
        self.square = np.bincount(a, (rest**2).sum(1), n)
        self._spread = _differences(a, b, rest, n)
        self._half, self._other_half = _turned_offsets(a, b, 0.5 * weight[:, None] * rest, n, moving)
        self.stiff = stiff = _differences(a, b, weight[:, None], n)[moving]
        self._factor = factorise(stiff[:, moving] + sp.diags(stay))

    def step(self, points: Rows, anchor: Rows | None = None) -> Rows:
        """(m, 3) the positions of the moving vertices after one local and one global step from `points` (n, 3), held to
        `anchor` (m, 3), by default to where they are."""
        held = points[self.moving] if anchor is None else anchor
        spread = (self._spread @ points).reshape(3, -1, 3).transpose(1, 2, 0)
        rotation, trace = nearest_turns(spread)
        scale = trace / np.maximum(self.square, 1e-300)
        turn = scale[:, None, None] * rotation
        right = np.einsum("nij,nj->ni", turn[self.moving], self._half)
        right += self._other_half @ turn.transpose(2, 0, 1).reshape(-1, 3)
        fixed = points.copy()
        fixed[self.moving] = 0.0
        right += self.stay[:, None] * held - self.stiff @ fixed
        return self._factor.solve(np.asfortranarray(right))


def _differences(a: NDArray, b: NDArray, weights: Rows, n: int) -> sp.csr_matrix:
    """(k n, n) the sum over pairs a, b (e,), a ascending, of the value at a less that at b, times a weight, at each a;
    for each column of `weights` (e, k), one after the other."""
    row = np.concatenate([a, np.arange(n)])
    order = np.argsort(row, kind="stable")
    columns = np.concatenate([b, np.arange(n)])[order]
    values = [np.concatenate([-weight, np.bincount(a, weight, n)])[order] for weight in weights.T]
    ends = np.cumsum(np.bincount(row, minlength=n))
    starts = np.concatenate([[0], *(ends + i * len(row) for i in range(len(values)))])
    return sp.csr_matrix((np.concatenate(values), np.tile(columns, len(values)), starts), shape=(n * len(values), n))


def _turned_offsets(a: NDArray, b: NDArray, offset: Rows, n: int, moving: NDArray) -> tuple[Rows, sp.csr_matrix]:
    """What turns at both ends of pairs a, b (e,), a ascending, make of an `offset` (e, 3), summed at each a of the
    vertices `moving` (m,): (m, 3) for its own turn, and (m, 3 n) for those of the others, column after column."""
    own = np.stack([np.bincount(a, along, n) for along in offset.T], axis=1)
    starts = 3 * np.concatenate([[0], np.cumsum(np.bincount(a, minlength=n))])
    columns = (b[:, None] + n * np.arange(3)).ravel()
    return own[moving], sp.csr_matrix((offset.ravel(), columns, starts), shape=(n, 3 * n))[moving]


def shaped(
    polygons: Polygons, points: Rows, loops: Loops, reference: Rows, moving: NDArray, stay: float | NDArray,
    rounds: int, anchored: bool = False, links: NDArray | None = None,
) -> Rows:  # fmt: skip
    """`points` (n, 3) with the vertices `moving` (m,) in the shape of their neighbourhoods on `reference` (n, 3).

    `stay` is as in `ReferenceShape`, one number for all or (m,); `rounds` is how often the two steps are taken. A
    vertex is held to where it was after the last round, with `anchored` to where it began. `links` (l, 2) are pairs of
    vertices that keep the offset that they have on the reference, as edges do.
    """
    flags = np.zeros(len(points), dtype=bool)
    flags[moving] = True
    near = loops.grown(flags, 1)
    if links is not None:
        links = links[flags[links].any(axis=1)]
        near[links] = True
    around = np.flatnonzero(near)
    rank = np.full(len(points), -1, dtype=np.int64)
    rank[around] = np.arange(len(around))
    shape = ReferenceShape(
        Surface(part_of(polygons, around), reference[around]), rank[moving], np.broadcast_to(stay, len(moving)),
        None if links is None else rank[links],
    )  # fmt: skip
    local = np.array(points[around])
    start = local[rank[moving]].copy() if anchored else None
    for _ in range(rounds):
        local[rank[moving]] = shape.step(local, start)
    result = np.array(points)
    result[moving] = local[rank[moving]]
    return result
