"""A piece of a fitted cage in the hand: a vertex or a loop that is drawn along the sculpt, and the skin about it.

A vertex takes the skin about it along, less with distance along the surface, none from the radius on. A loop takes the
movement in its own directions: what goes across the loop where it is held goes across it everywhere, so that a loop
about an eye widens; it reaches LONG times as far along the loop as across it. Every place is computed from the
positions at the beginning, so that there and back again is nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.fitting.closest import ClosestSurface
from composer.fitting.loops import Loops
from composer.fitting.project import AGREE, REACH, settle
from composer.geometry.marching import Marching
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.geometry.vectors import cross, unit_rows

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]
SETTLINGS = 3
"""Rounds in which places of a movement that would turn polygons over are settled (our choice): what one round leaves
beside the sculpt the next one finds nearer to it."""
LONG = 3.0
"""How much further a grip reaches along a held loop than across it (our choice: a third of an eye's rim at a radius of
10 mm)."""
HALVINGS = 6
"""Times that a movement is halved to find how far it can go without turning a face over (our choice): to 1/64 of it."""
STEPS = 4
"""Steps in which places follow the sculpt from the beginning to the end of a movement (our choice), so that the closest
place does not leap from one lip to the other."""


@dataclass(frozen=True, eq=False)
class Held:
    """What a grip moves: `vertices` (k,) of the cage, their `weight` (k,) in (0, 1], and for each the three directions
    (k, 3, 3) into which a movement's parts go; `frame` (3, 3) are these directions where it is held, as rows."""

    vertices: Ints
    weight: Rows
    directions: Rows
    frame: Rows


@dataclass(frozen=True, eq=False)
class Moved:
    """Where a movement leads: `positions` (k, 3) mm of the grip's vertices, and the `share` in [0, 1] of it that the
    held vertex goes: less than 1 where a polygon would turn over."""

    positions: Rows
    share: float


class Grips:
    """Makes grips on one cage, a `surface` of n vertices that lies on the `sculpt`. `reference` (n, 3), the library's
    neutral, says which faces are bad already. `fixed` (n,) flags vertices that no grip moves, `free` (n,) those that do
    not follow the sculpt."""

    def __init__(
        self, surface: Surface, sculpt: ClosestSurface, reference: Rows, fixed: NDArray | None = None,
        free: NDArray | None = None,
    ) -> None:  # fmt: skip
        self.surface, self.sculpt, self.reference = surface, sculpt, reference
        nowhere = np.zeros(surface.n_vertices, dtype=bool)
        self.fixed = nowhere if fixed is None else np.asarray(fixed, dtype=bool)
        self.free = nowhere if free is None else np.asarray(free, dtype=bool)
        self._marching = surface.derived(Marching)

    def vertex(self, vertex: int, radius_mm: float) -> Grip:
        """A grip on a vertex. Raises MoueError for a vertex that is not there."""
        away = self._marching.from_vertices([vertex], radius_mm)
        near = np.flatnonzero(np.isfinite(away) & ~self.fixed)
        weight = _fall(away[near] / radius_mm)
        frame = np.eye(3)
        return self._grip(Held(near, weight, np.tile(frame, (len(near), 1, 1)), frame))

    def loop(self, line: Ints, closed: bool, held: int, radius_mm: float) -> Grip:
        """A grip on a loop of vertices `line` (k,), held at the vertex line[held]. Raises MoueError as `vertex`."""
        points = self.surface.positions[line]
        along = _from_along(points, closed, held)
        lead = _fall(along / (LONG * radius_mm))
        used = lead > 0
        away = self._marching.from_vertices(line[used], radius_mm)
        near = np.flatnonzero(np.isfinite(away) & ~self.fixed)
        nearest = cKDTree(points[used]).query(self.surface.positions[near])[1]
        origin = np.flatnonzero(used)[nearest]
        weight = _fall(away[near] / radius_mm) * lead[origin]
        frames = self._frames(line, points, closed)
        keep = weight > 0
        return self._grip(Held(near[keep], weight[keep], frames[origin[keep]], frames[held]))

    def _frames(self, line: Ints, points: Rows, closed: bool) -> Rows:
        """(k, 3, 3) along the loop, across it, and out of the skin, as rows."""
        after, before = np.roll(points, -1, axis=0), np.roll(points, 1, axis=0)
        if not closed:
            after[-1], before[0] = points[-1], points[0]
        out = self.surface.vertex_normals[line]
        along = after - before
        along = unit_rows(along - (along * out).sum(1)[:, None] * out)
        return np.stack([along, cross(out, along), out], axis=1)

    def _grip(self, held: Held) -> Grip:
        return Grip(self.surface, self.sculpt, self.reference, held, self.free[held.vertices])


class Grip:
    """One grip; `held` is what it moves, and `follows` (k,) flags which of that lie on the sculpt."""

    def __init__(
        self, surface: Surface, sculpt: ClosestSurface, reference: Rows, held: Held, free: NDArray[np.bool_]
    ) -> None:
        """`free` (k,) flags the vertices of `held` that do not follow the sculpt."""
        self.sculpt, self.held = sculpt, held
        polygons = surface.polygons
        self.start = surface.positions[held.vertices]
        flags = np.zeros(polygons.n_vertices, dtype=bool)
        flags[held.vertices] = True
        faces = np.logical_or.reduceat(flags[polygons.indices], polygons.starts[:-1])
        corners = polygons.indices[faces[polygons.corner_face]]
        used = np.unique(corners)
        rank = np.full(polygons.n_vertices, -1, dtype=np.int64)
        rank[used] = np.arange(len(used))
        self._rank, self._around = rank[held.vertices], surface.positions[used]
        self._rest = reference[used]
        self._loops = Loops(Polygons(polygons.counts[faces], rank[corners], len(used)), self._rest)
        self._bad = self._loops.bad(self._around)
        near = sculpt.closest(self.start)
        facing = (near.normal * surface.vertex_normals[held.vertices]).sum(1) > AGREE
        self.follows = (near.distance <= REACH * sculpt.diagonal) & facing & ~free
        self._off = self.start - near.points
        self._off_normal = near.normal

    def moved(self, shift: Rows) -> Moved:
        """Where the grip's vertices lie after a movement of (3,) mm.

        What lay on the sculpt lies on it again; what lay beside it keeps its way from it; what lay away from it goes
        along freely. Where polygons would turn over, as in the corner of a mouth, the places are settled as at the end
        of a fit (`composer.fitting.project.settle`), and where that is not enough the whole movement gives way.
        """
        parts = self.held.frame @ np.asarray(shift, dtype=np.float64)
        way = self.held.weight[:, None] * np.einsum("i,kij->kj", parts, self.held.directions)
        if not np.abs(way).max(initial=0.0) > 0:
            return Moved(self.start, 1.0)
        onto = self._along(way)
        if not self._turned(onto).any():
            return Moved(onto, 1.0)
        settled = self._settled(way)
        if not self._turned(settled).any():
            return Moved(settled, self._gone(settled, way))
        share, step, best = 0.0, 0.5, self.start
        for _ in range(HALVINGS):
            trial = self._settled((share + step) * way)
            if not self._turned(trial).any():
                share, best = share + step, trial
            step *= 0.5
        return Moved(best, self._gone(best, way))

    def _settled(self, way: Rows) -> Rows:
        """(k, 3) mm the vertices after their ways (k, 3), brought onto the sculpt as a fit brings them there: where one
        has no place on it, or its polygons would turn over, it continues the movement of the skin about it."""
        points = self._around.copy()
        points[self._rank] = self.start + way
        stays = np.ones(len(points))
        stays[self._rank] = 0.0
        free = np.zeros(len(points), dtype=bool)
        free[self._rank] = ~self.follows
        lead = int(np.argmax(self.held.weight))
        goal = self.sculpt.closest((self.start + way)[[lead]]).points
        reach = max(REACH * self.sculpt.diagonal, float(np.linalg.norm(way, axis=1).max()))
        for _ in range(SETTLINGS):
            points = settle(
                Surface(self._loops.polygons, points), self.sculpt, reach, loops=self._loops, ideal=self._rest,
                free=free, protect=stays, rays=False, marks=(self._rank[[lead]], goal), unfold=True,
            ).positions  # fmt: skip
        return points[self._rank]

    def _gone(self, positions: Rows, way: Rows) -> float:
        """The share of its way that the vertex with most weight has gone."""
        lead = int(np.argmax(self.held.weight))
        goal = self.sculpt.closest((self.start + way)[[lead]]).points[0]
        whole = float(np.linalg.norm(goal - self.start[lead]))
        return float(np.clip(1.0 - np.linalg.norm(positions[lead] - goal) / max(whole, 1e-9), 0.0, 1.0))

    def _along(self, way: Rows) -> Rows:
        """(k, 3) mm the vertices after their ways (k, 3), kept to the sculpt on the way."""
        begun = self.start - self._off
        landed, normal = begun, self._off_normal
        for step in range(1, STEPS + 1):
            near = self.sculpt.nearby(begun + step / STEPS * way)
            agrees = (near.normal * normal).sum(1) > 0.0
            landed = np.where(agrees[:, None], near.points, landed)
            normal = np.where(agrees[:, None], near.normal, normal)
        return np.where(self.follows[:, None], landed + self._off, self.start + way)

    def _turned(self, positions: Rows) -> NDArray[np.bool_]:
        """(f,) the polygons that are bad at these positions (k, 3) and were not so at the beginning."""
        trial = self._around.copy()
        trial[self._rank] = positions
        return self._loops.bad(trial) & ~self._bad


def led_along(points: Rows, closed: bool, held: int, radius_mm: float) -> NDArray[np.bool_]:
    """(k,) which points of a loop (k, 3) mm a grip with this radius leads that holds it at the point `held`."""
    return _from_along(points, closed, held) < LONG * radius_mm


def mirrored_shift(shift: Rows, turn: Rows) -> Rows:
    """(3,) a movement (3,) of a head turned by the rotation `turn` (3, 3), mirrored in the head's own plane x = 0."""
    return turn @ (np.array([-1.0, 1.0, 1.0]) * (turn.T @ np.asarray(shift, dtype=np.float64)))


def _fall(share: Rows) -> Rows:
    """(k,) 1 at 0, 0 from 1 on, smooth between (smoothstep)."""
    t = 1.0 - np.clip(share, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def _from_along(points: Rows, closed: bool, held: int) -> Rows:
    """(k,) mm, how far each point of a loop (k, 3) lies from the held one along it, the shorter way round."""
    side = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    run = np.concatenate([[0.0], np.cumsum(side[:-1])])
    away = np.abs(run - run[held])
    return np.minimum(away, run[-1] + side[-1] - away) if closed else away
