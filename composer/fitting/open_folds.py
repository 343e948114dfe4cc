"""Turned and folded faces of a cage repaired: opened in place, smoothed, or filled again from the library's neutral."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.fitting.fill import fill
from composer.fitting.loops import FOLD_DEG, Loops
from composer.fitting.reference_shape import shaped
from composer.geometry.polygons import Polygons
from composer.geometry.rigid import similarity
from composer.geometry.surface import Surface
from composer.geometry.vectors import cross, unit_rows

Rows = NDArray[np.float64]

# The numbers below are our choice: they say how much is tried, and the tests say that no bad face is left.
HEAL_RINGS = (1, 1, 2, 3, 4, 6)
"""Rings of vertices about the bad faces that `heal` moves, attempt after attempt."""
HEAL_STAY, HEAL_ROUNDS = 0.02, 12
"""Weight with which `heal` draws vertices to their present positions, beside weight 1 for their shape; its rounds."""
PATCH_RINGS = (1, 1, 1, 1, 1, 1, 2, 2, 3, 4, 6, 8, 12, 20, 40, 100, 1000)
"""Rings of vertices by which a patch grows, attempt after attempt; the last covers any head."""
PATCH_STAY, PATCH_ROUNDS = 1e-4, 30
"""The weight and the rounds of `heal`, for a patch that is filled again and then takes the reference's shape."""
OPEN_ROUNDS, OPEN_DEG = 60, 1.0
"""Most rounds in which folds are opened, and the degrees beyond the limit of a fold to which they are opened."""
OPEN_STEP_DEG = (0.2, 20.0)
"""Least and largest opening of a fold in one round, degrees."""
PUSH, PUSH_MORE = 1.05, 0.02
"""A reversed corner moves out by this many times its depth, and by this share of the distance of its neighbours."""


def heal(polygons: Polygons, positions: Rows, loops: Loops, reference: Rows, fixed: NDArray | None = None) -> Rows:
    """(n, 3) `positions` (n, 3) with turned and folded faces smoothed out in space: the vertices of the bad faces, then
    wider rings about them, take the shape that their neighbourhoods have on `reference` (n, 3).

    Vertices flagged in `fixed` (n,) stay. An attempt that does not reduce the bad faces is dropped.
    """
    points = positions
    for rings in HEAL_RINGS:
        wrong = loops.bad(points)
        if not wrong.any():
            return points
        flags = loops.grown(loops.vertices_of(wrong), rings)
        moving = np.flatnonzero(flags if fixed is None else flags & ~fixed)
        if not len(moving):
            return points
        trial = shaped(polygons, points, loops, reference, moving, HEAL_STAY, HEAL_ROUNDS)
        if loops.bad(trial).sum() < wrong.sum():
            points = trial
    return points


def open_folds(
    polygons: Polygons, positions: Rows, loops: Loops, reference: Rows, *, width_mm: float,
    fixed: NDArray | None = None, reluctant: NDArray | None = None,
) -> tuple[Rows, NDArray[np.bool_]]:  # fmt: skip
    """(n, 3) `positions` (n, 3) without turned or folded faces, and which vertices (n,) moved for that.

    Folds are opened a little where that is enough. Otherwise patches about the bad faces are filled again: a patch
    takes the positions of `reference` (n, 3), laid on its surroundings by a similarity, the displacement of its
    surroundings (`fill`, with `width_mm`), and the reference's shape. It grows until no face in it is bad, if need be
    over its whole piece of the mesh, which then is the reference itself.

    Vertices flagged in `fixed` (n,) stay. Those flagged in `reluctant` (n,), such as landmarks, stay where that leaves
    no bad face. Where the fixed vertices leave no solution the best attempt is returned.
    """
    n = len(positions)
    stays = np.zeros(n, dtype=bool) if fixed is None else fixed
    reluctant = np.zeros(n, dtype=bool) if reluctant is None else reluctant
    used = (polygons.valence > 0) & ~stays
    moves = np.logical_or.reduceat(~stays[polygons.indices], polygons.starts[:-1])
    best = positions
    wrong = loops.bad(best) & moves
    least, changed = int(wrong.sum()), np.zeros(n, dtype=bool)
    if not least:
        return best, changed
    for held in (stays | reluctant, stays):
        trial = _opened(polygons, best, loops, held)
        count = int((loops.bad(trial) & moves).sum())
        if count < least:
            best, least, changed = trial, count, (trial != positions).any(axis=1)
    points, wrong = best, loops.bad(best) & moves
    surface = Surface(polygons, reference)
    attempts = np.full(n, -1, dtype=np.int64)  # how often a vertex's patch has grown, -1 outside the patches
    while wrong.any():
        seeds = loops.vertices_of(wrong) & used
        attempts[seeds & (attempts < 0)] = 0
        for patch in _patches(polygons, attempts >= 0, seeds):
            attempt = int(attempts[patch].max())
            if attempt < len(PATCH_RINGS):
                attempts[loops.grown(patch, PATCH_RINGS[attempt]) & used] = attempt + 1
        patches = _patches(polygons, attempts >= 0, seeds)
        if not patches or any(attempts[patch].max() > len(PATCH_RINGS) - 1 for patch in patches):
            break
        for patch in patches:
            points = min(
                _refilled(polygons, surface, points, loops, patch, reluctant, width_mm),
                key=lambda trial: int((loops.bad(trial) & moves).sum()),
            )
        wrong = loops.bad(points) & moves
        if wrong.sum() < least:
            best, changed, least = points, (points != positions).any(axis=1), int(wrong.sum())
    return best, changed


def _opened(polygons: Polygons, points: Rows, loops: Loops, held: NDArray) -> Rows:
    """`points` (n, 3) with folded edges opened and reversed corners pushed out by as little as possible, in rounds;
    vertices flagged in `held` (n,) stay. This is enough for creases that are nearly shut on the library, too.
    """
    points = np.array(points)
    n = len(points)
    for _ in range(OPEN_ROUNDS):
        reversed_, folded = loops.faults(points)
        if not (reversed_.any() or folded.any()):
            break
        pushes = [_corner_pushes(polygons, points, loops, reversed_), *_fold_openings(polygons, points, loops, folded)]
        vertex, move = (np.concatenate(part) for part in zip(*pushes, strict=True))
        total = np.stack([np.bincount(vertex, move[:, i], n) for i in range(3)], axis=1)
        count = np.maximum(np.bincount(vertex, minlength=n), 1)
        points += np.where(held[:, None], 0.0, total / count[:, None])
    return points


def _corner_pushes(polygons: Polygons, points: Rows, loops: Loops, reversed_: NDArray) -> tuple[NDArray, Rows]:
    """The vertices (c,) of reversed corners, and the moves (c, 3) that push them out of their polygons."""
    corner = np.flatnonzero(reversed_)
    before, vertex, after = loops.corners[corner].T
    along = unit_rows(points[after] - points[before])
    outward = cross(along, loops.normals(points)[polygons.corner_face[corner]])
    depth = ((points[before] - points[vertex]) * outward).sum(1)
    push = PUSH * depth + PUSH_MORE * np.linalg.norm(points[after] - points[before], axis=1)
    return vertex, push[:, None] * outward


def _fold_openings(
    polygons: Polygons, points: Rows, loops: Loops, folded: NDArray
) -> Iterator[tuple[NDArray, Rows]]:
    """For each side of the folded edges, the vertices (v,) of its polygons off the edge, and the moves (v, 3) that turn
    them about the edge, away from the other side."""
    ends = polygons.edges[loops.edge[folded]]
    pairs = loops.beside[folded]
    sides = [_away_from_edge(polygons, points, pairs[:, side], ends) for side in (0, 1)]
    for (row, which, arm), (_, _, other_arm) in (sides, sides[::-1]):
        length = np.linalg.norm(arm, axis=1)
        toward = arm / np.maximum(length, 1e-300)[:, None]
        other = unit_rows(other_arm)
        angle = np.degrees(np.arccos(np.clip((toward * other).sum(1), -1.0, 1.0)))
        apart = unit_rows((toward * other).sum(1)[:, None] * toward - other)
        step = np.tan(np.radians(np.clip(FOLD_DEG + OPEN_DEG - angle, *OPEN_STEP_DEG)) / 2) * length
        yield row, step[which, None] * apart[which]


def _away_from_edge(polygons: Polygons, points: Rows, faces: NDArray, ends: NDArray) -> tuple[NDArray, NDArray, Rows]:
    """For polygons (e,) at edges (e, 2): their other vertices (v,), the index of the edge of each (v,), and the arm
    (e, 3): the vector from the edge, square to it, to the mean of the others.
    """
    count = polygons.counts[faces].astype(np.int64)
    which = np.repeat(np.arange(len(faces)), count)
    corner = np.repeat(polygons.starts[faces] - np.cumsum(count) + count, count) + np.arange(int(count.sum()))
    vertex = polygons.indices[corner].astype(np.int64)
    off_edge = (vertex != ends[which, 0]) & (vertex != ends[which, 1])
    vertex, which = vertex[off_edge], which[off_edge]
    size = np.maximum(np.bincount(which, minlength=len(faces)), 1)
    mean = np.stack([np.bincount(which, points[vertex, i], len(faces)) for i in range(3)], axis=1) / size[:, None]
    off = mean - points[ends[:, 0]]
    along = unit_rows(points[ends[:, 1]] - points[ends[:, 0]])
    return vertex, which, off - (off * along).sum(1)[:, None] * along


def _refilled(
    polygons: Polygons, surface: Surface, points: Rows, loops: Loops, patch: NDArray, reluctant: NDArray,
    width_mm: float,
) -> Iterator[Rows]:  # fmt: skip
    """Attempts to fill one patch (n,) of `points` (n, 3) from the reference `surface`, the mildest first: with the
    `reluctant` vertices (n,) in it held, then moved; filled, then also in the reference's shape.
    """
    used = polygons.valence > 0
    for missing in [patch & ~reluctant, patch] if (patch & reluctant).any() else [patch]:
        about = loops.grown(patch, 3) & used & ~missing
        about = about if about.sum() > 3 else used
        laid = similarity(surface.positions[about], points[about])(surface.positions)
        filled = np.where(missing[:, None], laid + fill(surface, points - laid, missing, width_mm), points)
        yield _opened(polygons, filled, loops, ~missing)
        if missing.any():
            moving = np.flatnonzero(missing)
            reshaped = shaped(polygons, filled, loops, surface.positions, moving, PATCH_STAY, PATCH_ROUNDS)
            yield _opened(polygons, reshaped, loops, ~missing)


def _patches(polygons: Polygons, flags: NDArray, seeds: NDArray) -> list[NDArray]:
    """The connected pieces (n,) of flagged vertices (n,) that hold one of `seeds` (n,)."""
    edges = polygons.edges[flags[polygons.edges].all(axis=1)]
    n = len(flags)
    links = sp.csr_matrix((np.ones(len(edges), np.int8), (edges[:, 0], edges[:, 1])), shape=(n, n))
    label = connected_components(links, directed=False)[1]
    return [flags & (label == number) for number in np.unique(label[flags & seeds])]
