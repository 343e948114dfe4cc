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
from composer.geometry.part import part_of
from composer.geometry.polygons import Polygons
from composer.geometry.rigid import nearest_rotation
from composer.geometry.surface import Surface, factorise

Rows = NDArray[np.float64]


class ReferenceShape:
    """The edges of a reference, and the factor of the global step over the vertices that move."""

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
        self.a = np.concatenate([edges[:, 0], edges[:, 1]])
        self.b = np.concatenate([edges[:, 1], edges[:, 0]])
        self.rest = surface.positions[self.a] - surface.positions[self.b]
        self.moving, self.stay = moving, stay
        ones = np.ones(len(self.a))
        self._sum = sp.csr_matrix((ones, (self.a, np.arange(len(self.a)))), shape=(n, len(self.a)))
        self.weight = 0.5 / degree[self.a] + 0.5 / degree[self.b]
        self.square = self._sum @ (self.rest**2).sum(1)
        graph = sp.csr_matrix((self.weight, (self.a, self.b)), shape=(n, n))
        stiff = (sp.diags(np.asarray(graph.sum(axis=1)).ravel()) - graph).tocsr()[moving]
        self._rows = stiff
        self._factor = factorise(stiff[:, moving] + sp.diags(stay))

    def step(self, points: Rows, anchor: Rows | None = None) -> Rows:
        """(m, 3) the positions of the moving vertices after one local and one global step from `points` (n, 3), held to
        `anchor` (m, 3), by default to where they are."""
        held = points[self.moving] if anchor is None else anchor
        now = points[self.a] - points[self.b]
        spread = np.stack([self._sum @ (now * self.rest[:, [i]]) for i in range(3)], axis=2)
        rotation, values = nearest_rotation(spread)
        scale = values.sum(1) / np.maximum(self.square, 1e-300)
        turn = scale[:, None, None] * rotation
        both = 0.5 * (turn[self.a] + turn[self.b])
        right = self._sum @ (self.weight[:, None] * np.einsum("nij,nj->ni", both, self.rest))
        fixed = points.copy()
        fixed[self.moving] = 0.0
        right = right[self.moving] - self._rows @ fixed + self.stay[:, None] * held
        return self._factor.solve(np.asfortranarray(right))


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
