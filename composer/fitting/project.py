"""Projection: a level's vertices brought onto the sculpt, and what cannot be brought filled smoothly, never left.

A vertex goes where its normal meets the sculpt, forwards or back, or to the closest point where that is much nearer
or the normal meets nothing. It is *rejected* where that is further than `reach`, where the sculpt there looks another
way, where it is the sculpt's open border, and where moving it turns a face over or folds it. Rejected and free vertices
take the displacement of their surroundings, carried on with a continuous first derivative (`composer.fitting.fill`).
Levels go up one by one: each starts from the subdivided result of the one before, so that only what a finer level
adds has to be found, and ends where the mean edge is as short as the sculpt's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.fill import fill
from composer.fitting.loops import Loops
from composer.fitting.relax import heal, mend
from composer.geometry.polygons import Polygons, read_only
from composer.geometry.surface import Surface
from composer.head.levels import HIGHEST_LEVEL, Refinement
from composer.progress import Progress

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

REACH = 0.015
"""Of the head's diagonal: how far a vertex is taken, 1 to 2 percent by common practice (no source)."""
AGREE = 0.35
"""Cosine between a vertex's normal and the sculpt's below which the sculpt there is another side."""
NORMAL_FIRST = 1.6
"""The place along the normal is taken unless it is this many times further than the closest point."""
FILL_WIDTH = 0.03
"""Of the diagonal: the tension's width in filled areas."""
HEAL_ROUNDS = 4
STRAY = 0.005
"""Of the diagonal, some 2 mm on a head: where healing moves a landmark further and still leaves bad faces, landmarks
are held. Where it leaves none it stands: on a sculpt whose true places are known holding them was the worse.
"""
RIM = 6
"""Rings of free vertices, above level 0, that take their surroundings' displacement; what lies deeper is smooth already
and stays as subdivided."""


@dataclass(frozen=True, eq=False)
class Settled:
    """Vertices (n, 3) brought onto a sculpt. `rejected` (n,) could not be; `filled` (n,) took their surroundings'
    displacement: the rejected and the free ones; `mended` (n,) those that were moved again because a face was turned
    or folded; `distance` (n,) how far each was moved.
    """

    positions: Rows
    rejected: Flags
    filled: Flags
    mended: Flags
    distance: Rows


@dataclass(frozen=True, eq=False)
class ProjectedLevel:
    """One level: `k`, its connectivity, positions (n_k, 3) mm, flags (n_k,) of the rejected, the filled and the
    protected vertices, how many faces are reversed or folded (0 unless protected vertices keep them so), and how many
    vertices were given up and filled for that.
    """

    k: int
    polygons: Polygons
    positions: Rows
    rejected: Flags
    filled: Flags
    n_protected: int
    bad_faces: int
    n_mended: int = 0

    @property
    def counts(self) -> dict[str, int]:
        """Vertices, rejected, filled, protected and bad faces, by name."""
        return {
            "vertices": len(self.positions), "rejected": int(self.rejected.sum()), "filled": int(self.filled.sum()),
            "protected": self.n_protected, "bad_faces": self.bad_faces, "mended": self.n_mended,
        }  # fmt: skip


def settle(
    surface: Surface, sculpt: ClosestSurface, reach_mm: float, *, loops: Loops, ideal: Rows,
    free: Flags | None = None, protect: Rows | None = None, reject: Flags | None = None, rays: bool = True,
    rim: int | None = None, marks: tuple[NDArray, Rows] | None = None,
    mended: bool = False,
) -> Settled:  # fmt: skip
    """Bring the vertices of `surface` (n) onto the sculpt within `reach_mm`.

    `loops` counts faces against the reference positions `ideal` (n, 3), the library's own; `free` (n,) vertices are
    filled; `protect` (n,) in [0, 1] is how much of its own place a vertex keeps (1: bit for bit); `reject` (n,) are
    rejected from the start, as a painted mask says; of the free ones only `rim` rings move, all unless said.
    `marks` are vertices (m,) and their places (m, 3), landmarks: where one is free or cannot be brought onto the
    sculpt by itself it goes to its place. `mended`: what is turned over or folded at the end is given up and filled.
    """
    points, normals = surface.positions, surface.vertex_normals
    n = len(points)
    no = np.zeros(n, dtype=bool)
    free = no if free is None else free
    keep = np.zeros(n) if protect is None else np.clip(protect, 0.0, 1.0)
    pinned = keep >= 1.0
    target, rejected = _targets(points, normals, sculpt, reach_mm, surface.polygons.border_vertices, rays)
    rejected |= no if reject is None else reject
    rejected &= ~free & ~pinned
    marked = no.copy()
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
    for attempt in range(HEAL_ROUNDS):
        missing = (rejected | (free & near)) & ~pinned & used
        whole = fill(surface, move, missing, width)
        moved = points + (1.0 - keep)[:, None] * whole
        wrong = turned.bad(moved) & loops.bad(moved)
        at = loops.grown(loops.vertices_of(wrong), attempt) & ~free & ~pinned & ~marked
        if not wrong.any() or not (at & ~rejected).any():
            break
        rejected |= at
        move[at] = 0.0
    healed = heal(surface.polygons, moved, loops, ideal, pinned)
    strayed = marked & (np.linalg.norm(healed - moved, axis=1) > STRAY * surface.diagonal_mm)
    if strayed.any() and loops.bad(healed).any():
        healed = heal(surface.polygons, moved, loops, ideal, pinned | marked)
    moved = np.where(pinned[:, None], points, healed)
    patched = no
    if mended:
        moved, patched = mend(
            surface.polygons, moved, loops, ideal, width_mm=width, fixed=pinned, loath=marked
        )
        rejected |= patched & ~free & ~marked
    filled = (rejected | free | patched) & ~pinned & used
    return Settled(moved, rejected, filled, patched, np.linalg.norm(moved - points, axis=1))


def _moves(polygons: Polygons, keep: Rows) -> Flags:
    """(f,) whether a polygon has a corner that is not wholly protected."""
    flags = np.zeros(polygons.n_faces, dtype=bool)
    flags[polygons.corner_face[(keep < 1.0)[polygons.indices]]] = True
    return flags


def _targets(
    points: Rows, normals: Rows, sculpt: ClosestSurface, reach: float, border: Flags, rays: bool
) -> tuple[Rows, Flags]:
    """(n, 3) where each vertex would go, and whether that is refused (n,)."""
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
    """Where normals meet the sculpt within `reach`, forwards or back, the nearer one that looks the same way: whether
    there is one (n,), the signed distance (n,), and whether its normal agrees (n,).
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
    """The reach in mm as it is. Raises MoueError where it is not above 0."""
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

    `reference` (n, 3) is the library's neutral, against which faces count as turned over; `reach_mm` is 1.5 percent of
    the diagonal unless said; `up_to` the last level, otherwise the first whose mean edge is as short as the sculpt's;
    `free` (n,) and `protect` (n,) are cage masks in [0, 1], lifted by the same subdivision (free from 1/2 on);
    `reject` gives painted rejections (n_k,) by level; `marks` are landmarks of the cage, as `settle` takes them.
    Raises MoueError for a level or a reach that makes no sense.
    """
    n = polygons.n_vertices
    for name, mask in (("free", free), ("protected", protect)):
        if mask is not None and len(mask) != n:
            raise MoueError(f"the {name} mask has {len(mask)} values, the head {n} vertices")
    if up_to is not None and not 0 <= up_to <= HIGHEST_LEVEL:
        raise MoueError(f"level {up_to} is not in 0 to {HIGHEST_LEVEL}")
    surface = Surface(polygons, positions)
    reach = REACH * surface.diagonal_mm if reach_mm is None else usable_reach(reach_mm)
    free_at = np.zeros(n) if free is None else np.asarray(free, dtype=np.float64)
    keep = np.zeros(n) if protect is None else np.asarray(protect, dtype=np.float64)
    wanted = sculpt.mean_edge
    ideal = np.asarray(reference, dtype=np.float64)
    out: list[ProjectedLevel] = []
    for k in range(HIGHEST_LEVEL + 1):
        if progress is not None:
            progress(k / (up_to + 1 if up_to is not None else k + 2), f"projecting level {k}")
        if k:
            step = Refinement(polygons)
            surface = Surface(step.polygons, step.apply(out[-1].positions))
            ideal, free_at, keep = step.apply(ideal), step.apply(free_at), step.apply(keep)
            keep[keep > 1 - 1e-9] = 1.0
            polygons = step.polygons
        loops = Loops(polygons, ideal)
        given = (reject or {}).get(k)
        if given is not None and len(given) != polygons.n_vertices:
            raise MoueError(
                f"the rejection mask of level {k} has {len(given)} values, the level {polygons.n_vertices} vertices"
            )
        done = settle(
            surface, sculpt, reach, loops=loops, ideal=ideal, free=free_at >= 0.5, protect=keep,
            reject=None if given is None else np.asarray(given) >= 0.5, rim=RIM if k else None,
            marks=None if k else marks, mended=True,
        )  # fmt: skip
        out.append(
            ProjectedLevel(
                k, polygons, read_only(done.positions), done.rejected, done.filled, int((keep >= 1).sum()),
                int((loops.bad(done.positions) & _moves(polygons, keep)).sum()), int(done.mended.sum()),
            )
        )  # fmt: skip
        if k == up_to or (up_to is None and Surface(polygons, done.positions).mean_edge_mm <= wanted):
            break
    return out
