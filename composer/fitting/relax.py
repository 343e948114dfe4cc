"""Relax: the library's own loops given back to a fitted head, by sliding along the sculpt.

Each vertex's neighbourhood should look as it does on the library's neutral, turned and scaled as a whole: as similar as
possible (Sorkine and Alexa 2007, "As-rigid-as-possible surface modeling", with a scale for each vertex). In rounds, the
best turn and scale are found for each vertex (local), all positions from one sparse solve with a factor made once
(global), vertices are drawn to their tangent planes, and brought back onto the sculpt.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.fill import fill
from composer.fitting.loops import FOLD_DEG, Loops
from composer.geometry.polygons import Polygons
from composer.geometry.rigid import nearest_rotation, similarity
from composer.geometry.surface import Surface, factorise
from composer.geometry.vectors import cross, unit_rows

Rows = NDArray[np.float64]
ROUNDS = 6
STAY, HELD, HEAL_STAY = 0.6, 60.0, 0.02
"""How much a vertex is held to where it was, beside the shape of its neighbourhood (weight 1): the higher, the fewer
loops are moved at a time; that of held vertices, and that in healing."""
MEND_RINGS = (1, 1, 1, 1, 1, 1, 2, 2, 3, 4, 6, 8, 12, 20, 40, 100, 1000)
OPEN_ROUNDS, OPEN_DEG = 60, 1.0
"""Rounds in which folds are opened a little further than need be, by so many degrees."""
MEND_STAY, MEND_SHAPE = 1e-4, 30
"""Rings that a patch grows by, try after try; how much its shape is held to what was filled, and the rounds it takes.
"""
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
        found = sculpt.nearby(moved)
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
        trial = _shaped(polygons, points, loops, reference, moving, HEAL_STAY, 12)
        if loops.bad(trial).sum() < wrong.sum():
            points = trial
    return points


def _shaped(
    polygons: Polygons, points: Rows, loops: Loops, reference: Rows, moving: NDArray, stay: float, rounds: int
) -> Rows:
    """`points` (n, 3) with the vertices `moving` (m,) in the shape that their neighbourhoods have on `reference`."""
    flags = np.zeros(len(points), dtype=bool)
    flags[moving] = True
    around = np.flatnonzero(loops.grown(flags, 1))
    rank = np.full(len(points), -1, dtype=np.int64)
    rank[around] = np.arange(len(around))
    whole = np.logical_and.reduceat(rank[polygons.indices] >= 0, polygons.starts[:-1])
    part = Polygons(polygons.counts[whole], rank[polygons.indices[whole[polygons.corner_face]]], len(around))
    shape = _Shape(Surface(part, reference[around]), rank[moving], np.full(len(moving), stay))
    local = np.array(points[around])
    for _ in range(rounds):
        local[rank[moving]] = shape.wanted(local)
    shaped = np.array(points)
    shaped[moving] = local[rank[moving]]
    return shaped


def mend(
    polygons: Polygons, positions: Rows, loops: Loops, reference: Rows, *, width_mm: float,
    fixed: NDArray | None = None, loath: NDArray | None = None,
) -> tuple[Rows, NDArray[np.bool_]]:  # fmt: skip
    """(n, 3) positions (n, 3) without turned or folded faces, and which vertices (n,) were moved for it.

    Folds are opened a little where that is enough. Otherwise patches about the bad faces are given up: they take the
    place of `reference` (n, 3), laid on their surroundings by a similarity, their surroundings' displacement from it
    (`fill`, with `width_mm`), and its shape. A patch grows until nothing in it is bad, if need be over all of its
    piece, which then is the reference itself. Vertices flagged in `fixed` (n,) stay, those in `loath` (n,) where that
    costs no bad face; where `fixed` ones leave no way out, the best that was found comes back.
    """
    n = len(positions)
    stays = np.zeros(n, dtype=bool) if fixed is None else fixed
    slow = np.zeros(n, dtype=bool) if loath is None else loath
    used = (polygons.valence > 0) & ~stays
    moves = np.logical_or.reduceat(~stays[polygons.indices], polygons.starts[:-1])
    best = points = positions
    wrong = loops.bad(points) & moves
    least, changed = int(wrong.sum()), np.zeros(n, dtype=bool)
    if not least:
        return best, changed
    for still in (stays | slow, stays):
        trial = _opened(polygons, best, loops, still)
        count = int((loops.bad(trial) & moves).sum())
        if count < least:
            best, least, changed = trial, count, (trial != positions).any(axis=1)
    points, wrong = best, loops.bad(best) & moves
    surface = Surface(polygons, reference)
    age = np.full(n, -1, dtype=np.int64)
    while wrong.any():
        seeds = loops.vertices_of(wrong) & used
        age[seeds & (age < 0)] = 0
        for patch in _patches(polygons, age >= 0, seeds):
            tries = int(age[patch].max())
            if tries < len(MEND_RINGS):
                age[loops.grown(patch, MEND_RINGS[tries]) & used] = tries + 1
        patches = _patches(polygons, age >= 0, seeds)
        if not patches or any(age[patch].max() > len(MEND_RINGS) - 1 for patch in patches):
            break
        for patch in patches:
            points = min(
                _refilled(polygons, surface, points, loops, patch, slow, width_mm),
                key=lambda trial: int((loops.bad(trial) & moves).sum()),
            )
        wrong = loops.bad(points) & moves
        if wrong.sum() < least:
            best, changed, least = points, (points != positions).any(axis=1), int(wrong.sum())
    return best, changed


def _opened(polygons: Polygons, points: Rows, loops: Loops, still: NDArray) -> Rows:
    """`points` (n, 3) with folded edges opened and reversed corners pushed out by as little as that takes, in rounds;
    vertices flagged in `still` (n,) stay. Creases that the library has nearly shut need no more than this.
    """
    points = np.array(points)
    n = len(points)
    for _ in range(OPEN_ROUNDS):
        reversed_, folded = loops.faults(points)
        if not (reversed_.any() or folded.any()):
            break
        rows, moves = [], []
        corner = np.flatnonzero(reversed_)
        before, own, after = loops.corners[corner].T
        along = unit_rows(points[after] - points[before])
        outward = cross(along, loops.normals(points)[polygons.corner_face[corner]])
        depth = ((points[before] - points[own]) * outward).sum(1)
        push = 1.05 * depth + 0.02 * np.linalg.norm(points[after] - points[before], axis=1)
        rows.append(own)
        moves.append(push[:, None] * outward)
        ends = polygons.edges[loops.edge[folded]]
        pairs = loops.beside[folded]
        away = [_away_from_edge(polygons, points, pairs[:, side], ends) for side in (0, 1)]
        for side in (0, 1):
            mine, theirs = away[side][2], away[1 - side][2]
            length = np.linalg.norm(mine, axis=1)
            toward = mine / np.maximum(length, 1e-300)[:, None]
            other = unit_rows(theirs)
            lean = np.degrees(np.arccos(np.clip((toward * other).sum(1), -1.0, 1.0)))
            apart = unit_rows((toward * other).sum(1)[:, None] * toward - other)
            step = np.tan(np.radians(np.clip(FOLD_DEG + OPEN_DEG - lean, 0.2, 20.0)) / 2) * length
            row, which, _ = away[side]
            rows.append(row)
            moves.append(step[which, None] * apart[which])
        row, move = np.concatenate(rows), np.concatenate(moves)
        total = np.stack([np.bincount(row, move[:, i], n) for i in range(3)], axis=1)
        count = np.maximum(np.bincount(row, minlength=n), 1)
        points += np.where(still[:, None], 0.0, total / count[:, None])
    return points


def _away_from_edge(polygons: Polygons, points: Rows, faces: NDArray, ends: NDArray) -> tuple[NDArray, NDArray, Rows]:
    """For polygons (e,) at edges (e, 2): their other vertices (m,), to which of the e each belongs (m,), and the vector
    (e, 3) from the edge, square to it, to the others' mean.
    """
    count = polygons.counts[faces].astype(np.int64)
    which = np.repeat(np.arange(len(faces)), count)
    corner = np.repeat(polygons.starts[faces] - np.cumsum(count) + count, count) + np.arange(int(count.sum()))
    vertex = polygons.indices[corner].astype(np.int64)
    far = (vertex != ends[which, 0]) & (vertex != ends[which, 1])
    vertex, which = vertex[far], which[far]
    size = np.maximum(np.bincount(which, minlength=len(faces)), 1)
    mean = np.stack([np.bincount(which, points[vertex, i], len(faces)) for i in range(3)], axis=1) / size[:, None]
    off = mean - points[ends[:, 0]]
    along = unit_rows(points[ends[:, 1]] - points[ends[:, 0]])
    return vertex, which, off - (off * along).sum(1)[:, None] * along


def _refilled(
    polygons: Polygons, surface: Surface, points: Rows, loops: Loops, patch: NDArray, slow: NDArray,
    width_mm: float,
) -> Iterator[Rows]:
    """Ways to fill one patch (n,) of `points` (n, 3) with the reference `surface`, the tamest first: the landmarks in
    it, `slow` (n,), held, then given up; filled, then also given the reference's shape.
    """
    used = polygons.valence > 0
    for missing in [patch & ~slow, patch] if (patch & slow).any() else [patch]:
        about = loops.grown(patch, 3) & used & ~missing
        about = about if about.sum() > 3 else used
        laid = similarity(surface.positions[about], points[about])(surface.positions)
        filled = np.where(missing[:, None], laid + fill(surface, points - laid, missing, width_mm), points)
        yield _opened(polygons, filled, loops, ~missing)
        if missing.any():
            shaped = _shaped(polygons, filled, loops, surface.positions, np.flatnonzero(missing), MEND_STAY, MEND_SHAPE)
            yield _opened(polygons, shaped, loops, ~missing)


def _patches(polygons: Polygons, flags: NDArray, seeds: NDArray) -> list[NDArray]:
    """The connected pieces (n,) of flagged vertices (n,) that hold one of `seeds` (n,)."""
    edges = polygons.edges[flags[polygons.edges].all(axis=1)]
    n = len(flags)
    links = sp.csr_matrix((np.ones(len(edges), np.int8), (edges[:, 0], edges[:, 1])), shape=(n, n))
    label = connected_components(links, directed=False)[1]
    return [flags & (label == number) for number in np.unique(label[flags & seeds])]


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
        rotation, values = nearest_rotation(spread)
        scale = values.sum(1) / np.maximum(self.square, 1e-300)
        turn = scale[:, None, None] * rotation
        both = 0.5 * (turn[self.a] + turn[self.b])
        right = self._sum @ (self.weight[:, None] * np.einsum("nij,nj->ni", both, self.rest))
        at = points.copy()
        at[self.moving] = 0.0
        right = right[self.moving] - self._rows @ at + self.stay[:, None] * points[self.moving]
        return self._factor.solve(np.asfortranarray(right))
