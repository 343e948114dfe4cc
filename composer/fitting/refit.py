"""A warm refit: a fitted cage brought through landmarks that were placed, moved or drawn since, and changed near them
alone.

The present cage deviates by d, the smoothest field that brings it there: it minimises

    sum |Lap d|^2 / m  +  sum_j w (at_j (x + d) - y_j)^2,    d = 0 from the radius on

with the library's own Laplacian and masses m (a thin plate over the skin; Botsch and Kobbelt 2004, "An intuitive
framework for real-time freeform modeling"). at_j is the place of a landmark on the cage, y_j its place on the sculpt,
or the nearest place of a drawn curve. The radius grows with the way that has to be gone, so that loops are not crowded.
Then the vertices near it go back onto the sculpt (`composer.fitting.project.settle`), without folded faces, and the
curves are asked again. One factorisation serves all rounds. What lies outside the radius stays bit for bit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.fitting.align import Pairs
from composer.fitting.bound_parts import take_along
from composer.fitting.closest import ClosestSurface
from composer.fitting.loops import Loops
from composer.fitting.mark_pulls import MarkPulls
from composer.fitting.project import AGREE, REACH, settle
from composer.fitting.skin import Skin, skin_marks
from composer.geometry.marching import Marching
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface, factorise
from composer.head.head import Head

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]
LEAST_RADIUS, MOST_RADIUS = 0.02, 0.25
"""Bounds of the radius, as shares of the cage's diagonal: 8 and 100 mm on a head of 400 mm (our choice)."""
GROWTH = 5.0
"""The radius for each mm that the furthest landmark has to go (our choice): a ramp of smoothstep's steepest slope, 1.5
over the radius, then presses a loop together by at most a third."""
PULL = 1e3
"""Weight of a landmark beside the stiffness of the plate over the radius (no unit, our choice): it is reached within a
thousandth of its way."""
ROUNDS = 3
"""Rounds of solving and settling (our choice): places slide along a drawn curve to the nearest one."""


@dataclass(frozen=True, eq=False)
class Refitted:
    """The cage's `positions` (n, 3) mm; `near` (n,) flags the vertices that were free to move; `away_mm` how far the
    landmarks lie from their places before and after, in the mean over all of them."""

    positions: Rows
    near: Flags
    away_mm: tuple[float, float]


def refit(
    head: Head, cage: Rows, sculpt: ClosestSurface, asked: Pairs, *, free: NDArray | None = None,
    hold: NDArray | None = None,
) -> Refitted:  # fmt: skip
    """The `cage` (n, 3) mm, fitted onto the `sculpt`, brought through the landmarks and curves `asked`.

    `head` is the library's own, whose neutral `asked` refers to. `free` (n,) in [0, 1] is 1 where the cage does not
    follow the sculpt; `hold` (n,) in [0, 1] is 1 where nothing moves. Parts bound to the skin go along with it;
    eyeballs and teeth stay. Without landmarks the cage is returned as it is.
    """
    cage = np.asarray(cage, dtype=np.float64)
    nowhere = np.zeros(head.n_vertices, dtype=bool)
    if not asked.names and not asked.curves:
        return Refitted(cage, nowhere, (0.0, 0.0))
    freedom = np.zeros(head.n_vertices) if free is None else np.asarray(free, dtype=np.float64)
    fixed = nowhere if hold is None else np.asarray(hold) >= 0.5
    skin = Skin.of(head)
    marks = MarkPulls.of(skin, asked, head.neutral, 1.0)
    now = cage[skin.vertices]
    before = _away(marks, now)
    diagonal = float(np.linalg.norm(np.ptp(now, axis=0)))
    radius = float(np.clip(GROWTH * before.max(), LEAST_RADIUS * diagonal, MOST_RADIUS * diagonal))
    seeds = np.unique(marks.at.indices)
    away = Marching(Surface(skin.polygons, now)).from_vertices(seeds, radius)
    near = (away < radius) & ~fixed[skin.vertices]
    patch = _Patch.about(skin.polygons, near)
    points = now[patch.vertices]
    follows = _follows(patch.polygons, points, sculpt) & (freedom[skin.vertices[patch.vertices]] < 0.5)
    plate = _Plate(patch, head.neutral[skin.vertices][patch.vertices], marks.at[:, patch.vertices], radius)
    at_skin, places = skin_marks(skin, asked)
    held = patch.rank[at_skin] >= 0
    rest = head.neutral[skin.vertices][patch.vertices]
    loops = Loops(patch.polygons, rest)
    moved = points
    for _ in range(ROUNDS):
        whole = now.copy()
        whole[patch.vertices] = moved
        target = marks.pulls(whole)[0]
        moved = points + plate.deviation(target - marks.at @ now)
        moved = settle(
            Surface(patch.polygons, moved), sculpt, REACH * diagonal, loops=loops, ideal=rest, free=~follows,
            protect=(~patch.moving).astype(np.float64), rays=False, unfold=True,
            marks=(patch.rank[at_skin[held]], places[held]),
        ).positions  # fmt: skip
        moved = np.where(patch.moving[:, None], moved, points)
    positions = cage.copy()
    positions[skin.vertices[patch.vertices[patch.moving]]] = moved[patch.moving]
    flags = nowhere.copy()
    flags[skin.vertices[patch.vertices[patch.moving]]] = True
    positions = take_along(head, cage, positions)
    after = _away(marks, positions[skin.vertices])
    return Refitted(positions, flags, (float(before.mean()), float(after.mean())))


@dataclass(frozen=True, eq=False)
class _Patch:
    """A piece of the skin: its `vertices` (k,) as numbers of the skin and their `rank` (s,) in it, -1 elsewhere; its
    `polygons`; `moving` (k,), the vertices that may move. The others lie about them and hold still."""

    vertices: NDArray[np.int64]
    rank: NDArray[np.int64]
    polygons: Polygons
    moving: Flags

    @classmethod
    def about(cls, polygons: Polygons, near: Flags) -> _Patch:
        """The polygons with a vertex in `near` (s,), and those beside them: a plate needs two rings to end smoothly."""
        flags = near
        for _ in range(2):
            faces = np.logical_or.reduceat(flags[polygons.indices], polygons.starts[:-1])
            flags = np.zeros_like(near)
            flags[polygons.indices[faces[polygons.corner_face]]] = True
        vertices = np.flatnonzero(flags)
        rank = np.full(len(near), -1, dtype=np.int64)
        rank[vertices] = np.arange(len(vertices))
        corners = polygons.indices[faces[polygons.corner_face]]
        return cls(vertices, rank, Polygons(polygons.counts[faces], rank[corners], len(vertices)), near[vertices])


class _Plate:
    """A thin plate over a patch, with landmarks that pull on it: one factor for all rounds."""

    def __init__(self, patch: _Patch, rest: Rows, at: sp.csr_matrix, radius: float) -> None:
        """`rest` (k, 3) mm is the library's own form of the patch, `at` (j, k) the places of the landmarks on it."""
        surface = Surface(patch.polygons, rest)
        mass = np.maximum(surface.mass, 0.05 * float(np.median(surface.mass)))
        laplacian = surface.laplacian.tocsr()
        stiff = (laplacian @ sp.diags(radius**4 / (mass * mass.sum())) @ laplacian).tocsr()
        self._at = at.tocsr()
        self._moving = np.flatnonzero(patch.moving)
        pulled = self._at[:, self._moving]
        system = stiff[self._moving][:, self._moving] + (PULL * (pulled.T @ pulled))
        self._factor = factorise(system + 1e-12 * sp.eye(len(self._moving)))
        self._pulled = pulled

    def deviation(self, way: Rows) -> Rows:
        """(k, 3) mm the field that brings the landmarks along their ways (j, 3), zero where the patch holds still."""
        field = np.zeros((self._at.shape[1], 3))
        field[self._moving] = self._factor.solve(np.asfortranarray(PULL * (self._pulled.T @ way)))
        return field


def _follows(polygons: Polygons, points: Rows, sculpt: ClosestSurface) -> Flags:
    """(k,) whether a vertex lay on the sculpt before, within the reach of a projection and facing the same way."""
    near = sculpt.closest(points)
    facing = (near.normal * Surface(polygons, points).vertex_normals).sum(1) > AGREE
    return (near.distance <= REACH * sculpt.diagonal) & facing


def _away(marks: MarkPulls, skin: Rows) -> Rows:
    """(j,) mm, how far the landmarks on the skin (s, 3) lie from where they are asked to."""
    return np.linalg.norm(marks.pulls(skin)[0] - marks.at @ skin, axis=1)
