"""Relax: the library's own loops given back to a fitted head, by sliding along the sculpt.

Each vertex's neighbourhood should look as it does on the library's neutral, turned and scaled as a whole: as similar as
possible (Sorkine and Alexa 2007, "As-rigid-as-possible surface modeling", with a scale for each vertex). In rounds, the
best turn and scale are found for each vertex (local), all positions from one sparse solve with a factor made once
(global), vertices are drawn to their tangent planes, and brought back onto the sculpt.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.loops import Loops
from masks.polygons import Polygons
from masks.surface import Surface, factorise

Rows = NDArray[np.float64]
ROUNDS = 6
STAY, HELD, HEAL_STAY = 0.6, 60.0, 0.02
"""How much a vertex is held to where it was, beside the shape of its neighbourhood (weight 1): the higher, the fewer
loops are moved at a time; that of held vertices, and that in healing."""
AGREE = 0.35
REACH = 0.015


def relax(
    polygons: Polygons, positions: Rows, sculpt: ClosestSurface, reference: Rows, mask: NDArray | None = None, *,
    free: NDArray | None = None, held: NDArray | None = None, rounds: int = ROUNDS,
) -> Rows:  # fmt: skip
    """(n, 3) fitted positions (n, 3) with loops more like those of `reference` (n, 3), the library's neutral.

    `mask` (n,) in [0, 1] says how far each vertex may go; where it is 0 a vertex stays bit for bit. `free` (n,) is 1
    where vertices do not lie on the sculpt; they relax in space. `held` are vertices, such as landmarks, that are
    loath to move. What a slide would turn over stays where it was.
    Raises MoueError where a mask has another length.
    """
    points = np.array(positions, dtype=np.float64)
    n = len(points)
    amount = np.ones(n) if mask is None else np.clip(np.asarray(mask, dtype=np.float64), 0.0, 1.0)
    open_ = np.zeros(n, dtype=bool) if free is None else np.asarray(free) >= 0.5
    if amount.shape != (n,) or open_.shape != (n,) or polygons.n_vertices != n:
        raise MoueError(f"a mask has another length than the {n} vertices of the head")
    moving = np.flatnonzero((amount > 0) & (polygons.valence > 0))
    if not len(moving):
        return points
    stay = np.full(n, STAY)
    stay[np.asarray([] if held is None else held, dtype=np.int64)] = HELD
    shape = _Shape(Surface(polygons, reference), moving, stay[moving])
    loops = Loops(polygons, reference)
    for _ in range(rounds):
        normals = Surface(polygons, points).vertex_normals
        wanted = shape.wanted(points)
        step = wanted - points[moving]
        on = ~open_[moving]
        out = normals[moving]
        step[on] -= (step[on] * out[on]).sum(1)[:, None] * out[on]
        moved = points[moving] + amount[moving, None] * step
        found = sculpt.near(moved)
        good = on & ((found.normal * out).sum(1) > AGREE)
        good &= (found.distance <= REACH * sculpt.diagonal) & (~found.on_border | polygons.border_vertices[moving])
        moved[good] += amount[moving[good], None] * (found.points[good] - moved[good])
        moved[on & ~good] = points[moving[on & ~good]]
        points = _without_folds(loops, points, moving, moved)
    return points


def heal(polygons: Polygons, positions: Rows, loops: Loops, reference: Rows, fixed: NDArray | None = None) -> Rows:
    """(n, 3) positions (n, 3) with turned and folded faces smoothed out in space: the vertices of the bad faces, then
    wider rings about them, take the shape that their neighbourhood has on `reference` (n, 3) as far as the rest allows.

    Vertices flagged in `fixed` (n,) stay. Where that does not help the positions come back as they were.
    """
    points = positions
    for rings in (1, 1, 2, 3, 4, 6):
        wrong = loops.bad(points)
        if not wrong.any():
            return points
        flags = loops.grown(loops.vertices_of(wrong), rings)
        moving = np.flatnonzero(flags if fixed is None else flags & ~fixed)
        if not len(moving):
            return points
        around = np.flatnonzero(loops.grown(flags, 1))
        rank = np.full(len(points), -1, dtype=np.int64)
        rank[around] = np.arange(len(around))
        whole = np.logical_and.reduceat(rank[polygons.indices] >= 0, polygons.starts[:-1])
        part = Polygons(
            polygons.counts[whole], rank[polygons.indices[whole[polygons.corner_face]]], len(around)
        )  # fmt: skip
        shape = _Shape(Surface(part, reference[around]), rank[moving], np.full(len(moving), HEAL_STAY))
        local = np.array(points[around])
        for _ in range(12):
            local[rank[moving]] = shape.wanted(local)
        trial = np.array(points)
        trial[moving] = local[rank[moving]]
        if loops.bad(trial).sum() < wrong.sum():
            points = trial
    return points


def _without_folds(loops: Loops, points: Rows, moving: NDArray, moved: Rows) -> Rows:
    """The step less what turns faces over: those vertices stay, and if need be their surroundings."""
    before = loops.bad(points)
    held = np.zeros(len(points), dtype=bool)
    for attempt in range(8):
        trial = points.copy()
        trial[moving] = np.where(held[moving, None], points[moving], moved)
        wrong = loops.bad(trial) & ~before
        if not wrong.any():
            return trial
        held |= loops.grown(loops.vertices_of(wrong), attempt // 2)
    return points


class _Shape:
    """The reference's edges, and the factor of the global step over the vertices that move."""

    def __init__(self, surface: Surface, moving: NDArray, stay: NDArray) -> None:
        n = surface.n_vertices
        edges = surface.polygons.edges.astype(np.int64)
        self.a = np.concatenate([edges[:, 0], edges[:, 1]])
        self.b = np.concatenate([edges[:, 1], edges[:, 0]])
        self.rest = surface.positions[self.a] - surface.positions[self.b]
        self.moving, self.stay = moving, stay
        ones = np.ones(len(self.a))
        self._sum = sp.csr_matrix((ones, (self.a, np.arange(len(self.a)))), shape=(n, len(self.a)))
        degree = np.maximum(surface.polygons.valence, 1).astype(np.float64)
        self.weight = 0.5 / degree[self.a] + 0.5 / degree[self.b]
        self.square = self._sum @ (self.rest**2).sum(1)
        graph = sp.csr_matrix((self.weight, (self.a, self.b)), shape=(n, n))
        stiff = (sp.diags(np.asarray(graph.sum(axis=1)).ravel()) - graph).tocsr()[moving]
        self._rows = stiff
        self._factor = factorise(stiff[:, moving] + sp.diags(stay))

    def wanted(self, points: Rows) -> Rows:
        """(moving, 3) where the vertices that move would like to be."""
        now = points[self.a] - points[self.b]
        spread = np.stack([self._sum @ (now * self.rest[:, [i]]) for i in range(3)], axis=2)
        u, d, vt = np.linalg.svd(spread)
        sign = np.ones((len(points), 3))
        sign[:, 2] = np.where(np.linalg.det(u) * np.linalg.det(vt) < 0, -1.0, 1.0)
        scale = (d * sign).sum(1) / np.maximum(self.square, 1e-300)
        turn = scale[:, None, None] * ((u * sign[:, None]) @ vt)
        both = 0.5 * (turn[self.a] + turn[self.b])
        right = self._sum @ (self.weight[:, None] * np.einsum("nij,nj->ni", both, self.rest))
        at = points.copy()
        at[self.moving] = 0.0
        right = right[self.moving] - self._rows @ at + self.stay[:, None] * points[self.moving]
        return self._factor.solve(np.asfortranarray(right))
