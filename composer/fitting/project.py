"""Projection: the vertices of a level move onto the sculpt, and the others are filled smoothly.

A vertex moves to where its normal meets the sculpt, forwards or backwards, or to the closest point where that is much
nearer or the normal meets nothing. It is *rejected* where that is further than the reach, where the sculpt faces
another way, where it is an open border of the sculpt, and where the move turns a face over or folds it. Rejected and
free vertices take the displacement of their surroundings, continued with a continuous first derivative
(`composer.fitting.fill`). Levels are projected one by one. Each starts from the subdivided result of the level before,
and the last is the first whose mean edge is as short as the sculpt's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.fill import fill
from composer.fitting.loops import Loops
from composer.fitting.open_folds import heal, open_folds
from composer.geometry.polygons import Polygons, read_only
from composer.geometry.surface import Surface
from composer.head.levels import HIGHEST_LEVEL, Refinement
from composer.progress import Progress

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

REACH = 0.015
"""Furthest that a vertex moves, as a share of the head's diagonal: 1 to 2 percent by common practice (no source)."""
AGREE = 0.35
"""Cosine between a vertex's and the sculpt's normal below which the sculpt faces another way: 70 degrees (our choice).
"""
NORMAL_FIRST = 1.6
"""A place along the normal is preferred unless it is this many times further than the closest point (our choice)."""
FILL_WIDTH = 0.03
"""Width of the tension in filled areas (see `fill`), as a share of the diagonal (our choice)."""
REJECT_ROUNDS = 4
"""Most rounds in which the vertices of turned faces are rejected too, with wider rings each time (our choice)."""
STRAY = 0.005
"""Share of the diagonal, some 2 mm on a head. Where healing moves a landmark further than this and leaves bad faces,
it is repeated with the landmarks held. Where it leaves none it stands: on demo sculpts, whose true places are known,
holding the landmarks gave the larger error."""
RIM = 6
"""Above level 0, the rings of free vertices that take the displacement of their surroundings (our choice). Deeper
vertices stay as subdivided: the level below has filled them."""


@dataclass(frozen=True, eq=False)
class Settled:
    """The `positions` (n, 3) mm of vertices that moved onto a sculpt. Flags (n,): `rejected` vertices could not;
    `filled` ones, the rejected and the free, took the displacement of their surroundings; `unfolded` ones moved again
    because a face was turned over or folded. `distance` (n,) is how far each moved, mm.
    """

    positions: Rows
    rejected: Flags
    filled: Flags
    unfolded: Flags
    distance: Rows


@dataclass(frozen=True, eq=False)
class ProjectedLevel:
    """One level: `k`, its `polygons`, `positions` (n_k, 3) mm, flags (n_k,) of the rejected and the filled vertices,
    the number of protected vertices, the number of faces that are still reversed or folded (only where protected
    vertices keep them so), and the number of vertices that left the sculpt to open folds.
    """

    k: int
    polygons: Polygons
    positions: Rows
    rejected: Flags
    filled: Flags
    n_protected: int
    bad_faces: int
    n_unfolded: int = 0

    @property
    def counts(self) -> dict[str, int]:
        """The numbers of vertices, rejected, filled, protected and unfolded vertices, and bad faces, by name."""
        return {
            "vertices": len(self.positions), "rejected": int(self.rejected.sum()), "filled": int(self.filled.sum()),
            "protected": self.n_protected, "bad_faces": self.bad_faces, "unfolded": self.n_unfolded,
        }  # fmt: skip


def settle(
    surface: Surface, sculpt: ClosestSurface, reach_mm: float, *, loops: Loops, ideal: Rows,
    free: Flags | None = None, protect: Rows | None = None, reject: Flags | None = None, rays: bool = True,
    rim: int | None = None, marks: tuple[NDArray, Rows] | None = None,
    unfold: bool = False,
) -> Settled:  # fmt: skip
    """Move the vertices of `surface` (n) onto the sculpt, at most `reach_mm` far.

    `loops` finds bad faces against the reference positions `ideal` (n, 3), the library's own. Vertices flagged in
    `free` (n,) are filled; `protect` (n,) in [0, 1] is how much of its position a vertex keeps (1: bit for bit);
    vertices flagged in `reject` (n,), such as a painted mask, are rejected from the start. Of the free vertices only
    `rim` rings are filled, without it all. With `rays` False vertices go to the closest point only. `marks` are
    landmark vertices (m,) and their places (m, 3): one that is free or rejected moves to its place. With `unfold` the
    faces that are turned over or folded at the end are repaired, and their vertices may leave the sculpt.
    """
    points, normals = surface.positions, surface.vertex_normals
    n = len(points)
    nowhere = np.zeros(n, dtype=bool)
    free = nowhere if free is None else free
    keep = np.zeros(n) if protect is None else np.clip(protect, 0.0, 1.0)
    pinned = keep >= 1.0
    target, rejected = _targets(points, normals, sculpt, reach_mm, surface.polygons.border_vertices, rays)
    rejected |= nowhere if reject is None else reject
    rejected &= ~free & ~pinned
    marked = nowhere.copy()
    if marks is not None:
        at, places = marks
        lost = (rejected | free)[at] & ~pinned[at]
        marked[at] = ~pinned[at]
        target[at[lost]] = places[lost]
        rejected &= ~marked
        free = free & ~marked
    move = np.where((rejected | free | pinned)[:, None], 0.0, target - points)
    width = FILL_WIDTH * max(surface.diagonal_mm, 1e-12)
    used = surface.polygons.valence > 0
    turned = Loops(surface.polygons, points)
    near = np.ones(n, dtype=bool) if rim is None else loops.grown(~free & used, rim)
    for attempt in range(REJECT_ROUNDS):
        missing = (rejected | (free & near)) & ~pinned & used
        moved = points + (1.0 - keep)[:, None] * fill(surface, move, missing, width)
        wrong = turned.bad(moved) & loops.bad(moved)
        about = loops.grown(loops.vertices_of(wrong), attempt) & ~free & ~pinned & ~marked
        if not wrong.any() or not (about & ~rejected).any():
            break
        rejected |= about
        move[about] = 0.0
    healed = heal(surface.polygons, moved, loops, ideal, pinned)
    strayed = marked & (np.linalg.norm(healed - moved, axis=1) > STRAY * surface.diagonal_mm)
    if strayed.any() and loops.bad(healed).any():
        healed = heal(surface.polygons, moved, loops, ideal, pinned | marked)
    moved = np.where(pinned[:, None], points, healed)
    unfolded = nowhere
    if unfold:
        moved, unfolded = open_folds(
            surface.polygons, moved, loops, ideal, width_mm=width, fixed=pinned, reluctant=marked
        )
        rejected |= unfolded & ~free & ~marked
    filled = (rejected | free | unfolded) & ~pinned & used
    return Settled(moved, rejected, filled, unfolded, np.linalg.norm(moved - points, axis=1))


def _moves(polygons: Polygons, keep: Rows) -> Flags:
    """(f,) whether a polygon has a corner that is not fully protected."""
    flags = np.zeros(polygons.n_faces, dtype=bool)
    flags[polygons.corner_face[(keep < 1.0)[polygons.indices]]] = True
    return flags


def _targets(
    points: Rows, normals: Rows, sculpt: ClosestSurface, reach: float, border: Flags, rays: bool
) -> tuple[Rows, Flags]:
    """(n, 3) the place on the sculpt for each vertex, and whether it is refused (n,)."""
    near = sculpt.closest(points)
    target = near.points.copy()
    fits = (near.normal * normals).sum(1) > AGREE
    fits &= (near.distance <= reach) & (~near.on_border | border)
    if rays:
        hit, along, agrees = _along_normals(points, normals, sculpt, reach)
        better = hit & agrees & (np.abs(along) <= NORMAL_FIRST * near.distance + 1e-9) & ~border
        better |= hit & agrees & ~fits
        target[better] = points[better] + along[better, None] * normals[better]
        fits |= better
    return target, ~fits


def _along_normals(points: Rows, normals: Rows, sculpt: ClosestSurface, reach: float) -> tuple[Flags, Rows, Flags]:
    """Where the normals meet the sculpt within `reach`, forwards or backwards; of two places the nearer one that faces
    the same way. Returns whether there is one (n,), the signed distance (n,), and whether its normal agrees (n,).
    """
    scene = sculpt.rays
    best, agrees = np.full(len(points), np.inf), np.zeros(len(points), dtype=bool)
    for sign in (1.0, -1.0):
        triangle, away, bary = scene.first(points, sign * normals, reach)
        met = triangle >= 0
        normal = np.zeros_like(points)
        normal[met] = np.einsum("ij,ijk->ik", bary[met], sculpt.normals[sculpt.triangles[triangle[met]]])
        same = met & ((normal * normals).sum(1) > AGREE)
        closer = same & (away < np.abs(best))
        best[closer], agrees[closer] = sign * away[closer], True
    hit = np.isfinite(best)
    return hit, np.where(hit, best, 0.0), agrees


def usable_reach(reach_mm: float) -> float:
    """`reach_mm` unchanged. Raises MoueError where it is not above 0."""
    if not reach_mm > 0:
        raise MoueError(f"a reach of {reach_mm:g} mm leaves nothing to project", hint="give a length above 0")
    return reach_mm


def project(
    polygons: Polygons, positions: Rows, sculpt: ClosestSurface, *, reference: Rows, reach_mm: float | None = None,
    up_to: int | None = None, free: NDArray | None = None, protect: NDArray | None = None,
    reject: dict[int, NDArray] | None = None, marks: tuple[NDArray, Rows] | None = None,
    progress: Progress | None = None,
) -> list[ProjectedLevel]:  # fmt: skip
    """Project a fitted cage (n, 3) mm by ascending levels, level 0 first.

    `reference` (n, 3) is the library's neutral, against which faces count as turned over or folded. `reach_mm` above 0
    is the furthest that a vertex moves, 1.5 percent of the diagonal by default. `up_to` in [0, 8] is the last level; by
    default it is the first whose mean edge is as short as the sculpt's. `free` (n,) and `protect` (n,) are cage masks
    in [0, 1], subdivided with the cage (free from 1/2 on); `reject` gives painted rejections (n_k,) by level; `marks`
    are landmarks of the cage, as in `settle`.
    Raises MoueError for a level or a reach outside its range, and for a mask of another length.
    """
    n = polygons.n_vertices
    for name, mask in (("free", free), ("protected", protect)):
        if mask is not None and len(mask) != n:
            raise MoueError(f"the {name} mask has {len(mask)} values, the head {n} vertices")
    if up_to is not None and not 0 <= up_to <= HIGHEST_LEVEL:
        raise MoueError(f"level {up_to} is not in 0 to {HIGHEST_LEVEL}")
    surface = Surface(polygons, positions)
    reach = REACH * surface.diagonal_mm if reach_mm is None else usable_reach(reach_mm)
    freedom = np.zeros(n) if free is None else np.asarray(free, dtype=np.float64)
    keep = np.zeros(n) if protect is None else np.asarray(protect, dtype=np.float64)
    shortest = sculpt.mean_edge
    ideal = np.asarray(reference, dtype=np.float64)
    out: list[ProjectedLevel] = []
    for k in range(HIGHEST_LEVEL + 1):
        if progress is not None:
            progress(k / (up_to + 1 if up_to is not None else k + 2), f"projecting level {k}")
        if k:
            step = Refinement(polygons)
            surface = Surface(step.polygons, step.apply(out[-1].positions))
            ideal, freedom, keep = step.apply(ideal), step.apply(freedom), step.apply(keep)
            keep[keep > 1 - 1e-9] = 1.0
            polygons = step.polygons
        loops = Loops(polygons, ideal)
        painted = (reject or {}).get(k)
        if painted is not None and len(painted) != polygons.n_vertices:
            raise MoueError(
                f"the rejection mask of level {k} has {len(painted)} values, the level {polygons.n_vertices} vertices"
            )
        settled = settle(
            surface, sculpt, reach, loops=loops, ideal=ideal, free=freedom >= 0.5, protect=keep,
            reject=None if painted is None else np.asarray(painted) >= 0.5, rim=RIM if k else None,
            marks=None if k else marks, unfold=True,
        )  # fmt: skip
        out.append(
            ProjectedLevel(
                k, polygons, read_only(settled.positions), settled.rejected, settled.filled, int((keep >= 1).sum()),
                int((loops.bad(settled.positions) & _moves(polygons, keep)).sum()), int(settled.unfolded.sum()),
            )
        )  # fmt: skip
        if k == up_to or (up_to is None and Surface(polygons, settled.positions).mean_edge_mm <= shortest):
            break
    return out
