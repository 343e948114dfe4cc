"""Projection: the vertices of a level move onto the sculpt, and the others are filled smoothly.

A vertex moves to where its normal meets the sculpt, forwards or backwards, or to the closest point where that is much
nearer or the normal meets nothing. It is *rejected* where that is further than the reach, where the sculpt faces
another way, where it is an open border of the sculpt, and where the move turns a face over or folds it. Rejected and
free vertices take the displacement of their surroundings, continued with a continuous first derivative
(`composer.fitting.fill`). Levels are projected one by one. Each starts from the subdivided result of the level before,
and the last is the first whose mean edge is as short as the sculpt's.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.bad_places import healed as heal_places
from composer.fitting.bad_places import unfolded as unfold_places
from composer.fitting.closest import ClosestSurface
from composer.fitting.fill import fill_more
from composer.fitting.give_way import without_crossing
from composer.fitting.loops import Loops
from composer.fitting.not_followed import Why
from composer.geometry.part import part_of
from composer.geometry.polygons import Polygons, read_only
from composer.geometry.surface import Surface
from composer.geometry.vectors import cross, dot, unit_rows
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
ALONG, FLAT = 0.5, 0.8
"""A place along the normal is taken without looking for the closest point where it is nearer than this share of the
sculpt's mean edge and the sculpt's triangle faces the vertex to this cosine: on so flat a piece the closest point is
hardly nearer. At fine levels nearly all vertices are so (our choice)."""
FILL_WIDTH = 0.03
"""Width of the tension in filled areas (see `fill`) at level 0, as a share of the diagonal; it halves with every level,
as edges do (our choice). A wide one continues the slope of a level's fine relief into a filled area: at level 3 of a
noisy sculpt that gave 50 mm."""
FURTHEST_EDGES = 1.0
"""Above level 0 a vertex moves no further than this many mean edges of the level below (our choice): the level below
lies on the sculpt already, and what is further is no detail between its vertices."""
REJECT_ROUNDS = 4
"""Most rounds in which the vertices of turned faces are rejected too, with wider rings each time (our choice)."""
STRAY = 0.005
"""Share of the diagonal, some 2 mm on a head. Where healing moves a landmark further than this and leaves bad faces,
it is repeated with the landmarks held. Where it leaves none it stands: on demo sculpts, whose true places are known,
holding the landmarks gave the larger error."""
RIM = 6
"""Above level 0, the rings of free and rejected vertices that take the displacement of their surroundings (our choice).
Deeper vertices stay as subdivided: the level below has filled them."""


@dataclass(frozen=True, eq=False)
class Settled:
    """The `positions` (n, 3) mm of vertices that moved onto a sculpt. Flags (n,): `rejected` vertices could not;
    `filled` ones, the rejected and the free, took the displacement of their surroundings; `unfolded` ones moved again
    because a face was turned over or folded. `distance` (n,) is how far each moved, mm; `why` (n,) the reason of each
    vertex that does not follow (`composer.fitting.not_followed.Why`). `bad` (f,) are the polygons that are still turned
    over or folded.
    """

    positions: Rows
    rejected: Flags
    filled: Flags
    unfolded: Flags
    distance: Rows
    why: NDArray[np.int8]
    bad: Flags


@dataclass(frozen=True, eq=False)
class ProjectedLevel:
    """One level: `k`, its `polygons`, `positions` (n_k, 3) mm, flags (n_k,) of the rejected and the filled vertices,
    the number of protected vertices, the number of faces that are still reversed or folded (only where protected
    vertices keep them so), and the number of vertices that left the sculpt to open folds. `why` (n_k,) is the reason
    of each vertex that does not follow (`composer.fitting.not_followed.Why`). `reference` (n_k, 3) mm are the
    library's own positions at the level; `still` (n_k,) flags pieces that keep their place. Of the polygons (f_k,)
    those `looked_at` are without the still pieces, and those `crossing` of them cross others.
    """

    k: int
    polygons: Polygons
    positions: Rows
    rejected: Flags
    filled: Flags
    n_protected: int
    bad_faces: int
    n_unfolded: int = 0
    why: NDArray[np.int8] = field(default_factory=lambda: np.zeros(0, dtype=np.int8))
    reference: Rows = field(default_factory=lambda: np.zeros((0, 3)))
    still: Flags = field(default_factory=lambda: np.zeros(0, dtype=bool))
    looked_at: Flags = field(default_factory=lambda: np.zeros(0, dtype=bool))
    crossing: Flags = field(default_factory=lambda: np.zeros(0, dtype=bool))

    def crossing_of(self, polygons: Flags) -> Flags | None:
        """(q,) which of the polygons flagged in `polygons` (f_k,) cross another of them; None where others were looked
        at."""
        return self.crossing[polygons] if np.array_equal(self.looked_at, polygons) else None

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
    unfold: bool = False, width: float = FILL_WIDTH, beyond: bool = True,
) -> Settled:  # fmt: skip
    """Move the vertices of `surface` (n) onto the sculpt, at most `reach_mm` far.

    `loops` finds bad faces against the reference positions `ideal` (n, 3), the library's own. Vertices flagged in
    `free` (n,) are filled; `protect` (n,) in [0, 1] is how much of its position a vertex keeps (1: bit for bit);
    vertices flagged in `reject` (n,), such as a painted mask, are rejected from the start. Of the free and the rejected
    vertices only `rim` rings are filled, without it all. With `rays` False vertices go to the closest point only.
    `marks` are landmark vertices (m,) and their places (m, 3): one that is free or rejected moves to its place. With
    `unfold` the faces that are turned over or folded at the end are repaired, and their vertices may leave the sculpt.
    `width` is that of the tension in filled areas, as a share of the diagonal. With `beyond` False what lies further
    off than the reach is not looked for, which costs most where the sculpt ends: such vertices count as too far.
    """
    points, normals = surface.positions, surface.vertex_normals
    n = len(points)
    nowhere = np.zeros(n, dtype=bool)
    free = nowhere if free is None else free
    keep = np.zeros(n) if protect is None else np.clip(protect, 0.0, 1.0)
    pinned = keep >= 1.0
    seeks = ~free & ~pinned
    target, why = np.array(points), np.zeros(n, dtype=np.int8)
    target[seeks], why[seeks] = _targets(
        points[seeks], normals[seeks], sculpt, reach_mm, surface.polygons.border_vertices[seeks], rays, beyond
    )
    if reject is not None:
        why[reject] = Why.PAINTED
    rejected = (why != Why.FOLLOWS) & seeks
    marked = nowhere.copy()
    if marks is not None:
        at, places = marks
        lost = (rejected | free)[at] & ~pinned[at]
        marked[at] = ~pinned[at]
        target[at[lost]] = places[lost]
        rejected &= ~marked
        free = free & ~marked
    move = np.where((rejected | free | pinned)[:, None], 0.0, target - points)
    width_mm = width * max(surface.diagonal_mm, 1e-12)
    used = surface.polygons.valence > 0
    near = np.ones(n, dtype=bool) if rim is None else loops.grown(~free & ~rejected & used, rim)
    filled, before, last = move, nowhere, points
    bad = np.zeros(0, dtype=bool)
    for attempt in range(REJECT_ROUNDS):
        missing = (rejected | free) & near & ~pinned & used
        filled = fill_more(surface, move, missing, width_mm, filled, before)
        moved, before = points + (1.0 - keep)[:, None] * filled, missing
        bad = loops.bad_again(moved, (moved != last).any(axis=1), bad) if attempt else loops.bad(moved)
        wrong, last = loops.newly_bad(bad, moved, points), moved
        about = loops.grown(loops.vertices_of(wrong), attempt) & ~free & ~pinned & ~marked
        if not wrong.any() or not (about & ~rejected).any():
            break
        why[about & ~rejected] = Why.FOLDS
        rejected |= about
        move[about] = 0.0
    healed = heal_places(surface.polygons, moved, loops, ideal, pinned, bad)
    strayed = marked & (np.linalg.norm(healed - moved, axis=1) > STRAY * surface.diagonal_mm)
    if strayed.any() and loops.bad(healed).any():
        healed = heal_places(surface.polygons, moved, loops, ideal, pinned | marked, bad)
    healed = np.where(pinned[:, None], points, healed)
    bad = loops.bad_again(healed, (healed != moved).any(axis=1), bad)
    moved, unfolded = healed, nowhere
    if unfold:
        moved, unfolded = unfold_places(
            surface.polygons, moved, loops, ideal, width_mm=width_mm, fixed=pinned, reluctant=marked, wrong=bad
        )
        bad = loops.bad_again(moved, unfolded, bad)
        why[unfolded & ~rejected] = Why.FOLDS
        rejected |= unfolded & ~free & ~marked
    filled = (rejected | free | unfolded) & ~pinned & used
    why[free & ~unfolded] = Why.HOLLOW
    why[~filled] = Why.FOLLOWS
    return Settled(moved, rejected, filled, unfolded, np.linalg.norm(moved - points, axis=1), why, bad)


def _moves(polygons: Polygons, keep: Rows) -> Flags:
    """(f,) whether a polygon has a corner that is not fully protected."""
    flags = np.zeros(polygons.n_faces, dtype=bool)
    flags[polygons.corner_face[(keep < 1.0)[polygons.indices]]] = True
    return flags


def _targets(
    points: Rows, normals: Rows, sculpt: ClosestSurface, reach: float, border: Flags, rays: bool, beyond: bool
) -> tuple[Rows, NDArray[np.int8]]:
    """(n, 3) the place on the sculpt for each vertex, and why it is refused (n,), Why.FOLLOWS where it is not."""
    target, fits = np.array(points), np.zeros(len(points), dtype=bool)
    seeks = np.ones(len(points), dtype=bool)
    if rays:
        along, agrees, facing = _along_normals(points, normals, sculpt, reach)
        sure = agrees & ~border & (facing >= FLAT) & (np.abs(along) <= ALONG * sculpt.mean_edge)
        target[sure] += along[sure, None] * normals[sure]
        fits |= sure
        seeks = ~sure
    near = sculpt.closest(points[seeks], np.inf if beyond else reach)
    target[seeks] = np.where(near.triangle[:, None] >= 0, near.points, points[seeks])
    ends, far = near.on_border & ~border[seeks], near.distance > reach
    facing = (near.normal * normals[seeks]).sum(1) <= AGREE
    fits[seeks] = ~(ends | far | facing)
    why = np.zeros(len(points), dtype=np.int8)
    why[seeks] = np.select([ends, far], [Why.ENDS, Why.FAR], Why.FACING)
    if rays:
        distance = np.full(len(points), np.inf)
        distance[seeks] = near.distance
        nearer = (np.abs(along) <= NORMAL_FIRST * distance + 1e-9) & ~border
        better = agrees & seeks & (nearer | ~fits)
        target[better] = points[better] + along[better, None] * normals[better]
        fits |= better
    why[fits] = Why.FOLLOWS
    return target, why


def _along_normals(points: Rows, normals: Rows, sculpt: ClosestSurface, reach: float) -> tuple[Rows, Flags, Rows]:
    """Where the normals meet the sculpt within `reach`, forwards or backwards; of two places the nearer one that faces
    the same way. Returns the signed distance (n,), infinite where there is none, whether there is one (n,), and the
    cosine (n,) between the vertex's normal and that of the triangle met.
    """
    scene = sculpt.rays
    best, agrees, facing = np.full(len(points), np.inf), np.zeros(len(points), dtype=bool), np.zeros(len(points))
    for sign in (1.0, -1.0):
        met, triangle, away, bary = scene.first(points, sign * normals, np.minimum(reach, np.abs(best)))
        corners = sculpt.triangles[triangle]
        smooth = np.einsum("ij,ijk->ik", bary, sculpt.normals[corners])
        closer = (dot(smooth, normals[met]) > AGREE) & (away < np.abs(best[met]))
        met, corners = met[closer], corners[closer]
        a, b, c = (sculpt.positions[corners[:, i]] for i in range(3))
        best[met], agrees[met] = sign * away[closer], True
        facing[met] = dot(unit_rows(cross(b - a, c - a)), normals[met])
    return best, agrees, facing


def usable_reach(reach_mm: float) -> float:
    """`reach_mm` unchanged. Raises MoueError where it is not above 0."""
    if not reach_mm > 0:
        raise MoueError(f"a reach of {reach_mm:g} mm leaves nothing to project", hint="give a length above 0")
    return reach_mm


def project(
    polygons: Polygons, positions: Rows, sculpt: ClosestSurface, *, reference: Rows, reach_mm: float | None = None,
    up_to: int | None = None, free: NDArray | None = None, protect: NDArray | None = None,
    reject: dict[int, NDArray] | None = None, marks: tuple[NDArray, Rows] | None = None,
    cage_stands: bool | NDArray[np.bool_] = False, progress: Progress | None = None,
) -> list[ProjectedLevel]:  # fmt: skip
    """Project a fitted cage (n, 3) mm by ascending levels, level 0 first.

    `reference` (n, 3) is the library's neutral, against which faces count as turned over or folded. `reach_mm` above 0
    is the furthest that a vertex moves, 1.5 percent of the diagonal by default. `up_to` in [0, 8] is the last level; by
    default it is the first whose mean edge is as short as the sculpt's. `free` (n,) and `protect` (n,) are cage masks
    in [0, 1], subdivided with the cage (free from 1/2 on); `reject` gives painted rejections (n_k,) by level; `marks`
    are landmarks of the cage, as in `settle`. With `cage_stands` level 0 is taken as it is: a person
    has corrected it. Flags (n,) hold level 0 there alone, but what still makes skin cross skin.
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
    still = _still_pieces(polygons, keep)
    ideal = np.asarray(reference, dtype=np.float64)
    out: list[ProjectedLevel] = []
    for k in range(HIGHEST_LEVEL + 1):
        if progress is not None:
            progress(k / (up_to + 1 if up_to is not None else k + 2), f"projecting level {k}")
        if k:
            step = Refinement(polygons)
            surface = Surface(step.polygons, step.apply(out[-1].positions))
            ideal, freedom, keep = step.apply(ideal), step.apply(freedom), step.apply(keep)
            still = step.apply(still)
            keep[keep > 1 - 1e-9] = 1.0
            polygons = step.polygons
        painted = (reject or {}).get(k)
        if painted is not None and len(painted) != polygons.n_vertices:
            raise MoueError(
                f"the rejection mask of level {k} has {len(painted)} values, the level {polygons.n_vertices} vertices"
            )
        refused = None if painted is None else np.asarray(painted) >= 0.5
        stays = keep if k else np.where(cage_stands, 1.0, keep)
        gives = (stays if cage_stands is True else keep) < 1.0
        out.append(_level(
            k, surface, sculpt, reach, ideal, freedom >= 0.5, stays, gives, still > 0.5, refused,
            None if k else marks,
        ))  # fmt: skip
        done = Surface(polygons, out[-1].positions).mean_edge_mm <= sculpt.mean_edge if up_to is None else k == up_to
        if done:
            break
    return out


def _still_pieces(polygons: Polygons, keep: Rows) -> Rows:
    """(n,) 1 on the connected pieces whose vertices all keep their positions, 0 elsewhere. Subdivided, it stays so."""
    moves = np.zeros(int(polygons.components.max(initial=-1)) + 1, dtype=bool)
    moves[polygons.components[keep < 1.0]] = True
    return np.where(moves[polygons.components], 0.0, 1.0)


def _level(
    k: int, surface: Surface, sculpt: ClosestSurface, reach: float, ideal: Rows, free: Flags, keep: Rows, gives: Flags,
    still: Flags, refused: Flags | None, marks: tuple[NDArray, Rows] | None,
) -> ProjectedLevel:  # fmt: skip
    """Level `k` of a `surface` (n) settled on the sculpt. Above level 0 the `still` pieces are left out of it all.
    Skin that would cross skin gives way, if it `gives` (n,)."""
    polygons, positions = surface.polygons, surface.positions
    at = np.flatnonzero(~still) if k and still.any() else np.arange(len(positions))
    if len(at) < len(positions):
        part = part_of(polygons, at)
        surface = Surface(part, positions[at])
    whole, ideal = ideal, ideal[at]
    loops = Loops(surface.polygons, ideal)
    if k:
        reach = min(reach, FURTHEST_EDGES * 2.0 * surface.mean_edge_mm)
    settled = settle(
        surface, sculpt, reach, loops=loops, ideal=ideal, free=free[at], protect=keep[at],
        reject=None if refused is None else refused[at], rim=RIM if k else None, marks=marks, unfold=True,
        width=FILL_WIDTH / 2**k, beyond=not k,
    )  # fmt: skip
    width = FILL_WIDTH * max(surface.diagonal_mm, 1e-12)
    parted = without_crossing(
        surface, settled.positions, ~still[at], gives[at], loops, width, ideal, settled.filled
    )  # fmt: skip
    looked_at = np.logical_and.reduceat(~still[polygons.indices], polygons.starts[:-1])
    crossing = np.zeros(polygons.n_faces, dtype=bool)
    crossing[looked_at] = parted.crossing
    moved, rejected, filled = np.array(positions), *(np.zeros(len(positions), dtype=bool) for _ in range(2))
    moved[at], rejected[at], filled[at] = parted.positions, settled.rejected, settled.filled | parted.way
    why = np.zeros(len(positions), dtype=np.int8)
    why[at] = np.where(parted.way & (settled.why == Why.FOLLOWS), Why.FOLDS, settled.why)
    changed = (parted.positions != settled.positions).any(axis=1)
    bad = loops.bad_again(parted.positions, changed, settled.bad) & _moves(surface.polygons, keep[at])
    return ProjectedLevel(
        k, polygons, read_only(moved), rejected, filled, int((keep >= 1).sum()), int(bad.sum()),
        int(settled.unfolded.sum()), why, whole, still, looked_at, crossing,
    )  # fmt: skip
