"""Contact: where the old head's lips or lids touch, the new head's touch, and lids stay as far off the eyeballs.

A constant set of virtual pairs, a vertex of one lid or lip and a place on the other, is found once: those that touch
at rest or in some shape of the library (after Saito, Smooth contact-aware facial blendshapes transfer, DIGIPRO 2013;
Li, Weise and Pauly, Example-based facial rigging, 2010). A pair that stands open at rest wants the old head's gap,
turned and scaled as the new head's gap at rest stands to the old one's: none where that is none. A vertex that
touches at rest may slide: it wants, where it faces the other side now, the old head's gap beside what the two heads'
gaps at rest differ by (which fades as it slides), and each side goes its share of the way. Either counts
fully near contact and not at all far from it, so that a mouth that opens is left alone. The correction is the
smallest field that does it, even over some millimetres around:

    min c' (r^2 L + M) c + w sum |c_v - c(place) - lack|^2 (open pairs) + w sum |c_v - share of lack|^2 (others)

a constant matrix, factored once. Lids slide before it: a vertex near an eyeball keeps the height above the new eyeball
that it has above the old one, beside their heights at rest. The two are repeated a few times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.fitting.carry_parts import CarriedParts, RigidPiece
from composer.fitting.closest import ClosestSurface
from composer.geometry.rigid import Similarity
from composer.geometry.surface import Surface, factorise
from composer.head.head import Head

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
MEETING = (
    ("lip_line_upper", "lip_line_lower"),
    ("upper_lid_left", "lower_lid_left"),
    ("upper_lid_right", "lower_lid_right"),
)
"""Landmark curves of what can touch."""
STEPS = 4
"""Edges from a curve to the end of what can touch."""
TOUCH = 1e-3
"""Of the head's size: what is nearer than this touches."""
OPEN = 4e-3
"""Of the head's size: a pair wider than this at rest is an open one."""
FADE = 8e-3
"""Of the head's size: a change of gap at which a pair that touches at rest has let go."""
REACH = 0.03
"""Of the head's size: a correction fades over about this; it ends at three times this."""
FIRM = 1e3
"""How many times the smoothness a pair weighs."""
HEIGHT = (0.008, 0.020)
"""Of the head's size: heights above an eyeball at rest up to which lids slide wholly, and not at all."""
SHARE = 0.7
"""Of what it lacks, each of two sides that touch goes this share in a round: more than half, as one may be alone."""
NEAR = 6
"""Vertices of an eyeball that say how far its surface is in a direction."""
ROUNDS = 12
ENOUGH = 4e-5
"""Of the head's size: rounds end where no pair lacks more than this."""


@dataclass(frozen=True, eq=False)
class Pairs:
    """Virtual pairs on the skin: `vertex` (p,), the place across as `corners` (p, 3) at weights `bary` (p, 3)."""

    vertex: Ints
    corners: Ints
    bary: Floats

    def gaps(self, positions: NDArray) -> Floats:
        """(p, 3) from the place across to the vertex."""
        return positions[self.vertex] - np.einsum("pi,pij->pj", self.bary, positions[self.corners])

    def matrix(self, n: int, across: NDArray[np.bool_]) -> sp.csr_matrix:
        """(p, n) what `gaps` does to each coordinate for the pairs `across` (p,), the vertex alone for the others."""
        p = len(self.vertex)
        rows = np.concatenate([np.arange(p), np.repeat(np.arange(p), 3)])
        columns = np.concatenate([self.vertex, self.corners.ravel()])
        values = np.concatenate([np.ones(p), -(self.bary * across[:, None]).ravel()])
        return sp.csr_matrix((values, (rows, columns)), shape=(p, n))


class Contact:
    """What keeps contact on a new head; made once, called with every shape."""

    def __init__(
        self, head: Head, source: Surface, target: Surface, likeness: Similarity, parts: CarriedParts, size: float
    ) -> None:
        """Take the old head, the skins of both heads (the same polygons), what lays and carries them, and the old
        head's `size` in mm (`frames.extent`).
        """
        self._source, self._target, self._parts = source, target, parts
        self._skin = np.flatnonzero(head.skin)
        number = np.full(head.n_vertices, -1, dtype=np.int64)
        number[self._skin] = np.arange(len(self._skin))
        self.pairs, groups = find_pairs(head, source, number, TOUCH * size)
        self._open = _Open(self.pairs, source.positions, target.positions, likeness, size)
        self._sides = []
        for rows, triangles in groups:
            rows = rows[~self._open.chosen[rows]]
            if len(rows):
                vertices = self.pairs.vertex[rows]
                self._sides.append(_Side(rows, vertices, triangles, source, target, likeness, size))
        self._balls = [_Ball(piece, source, target, size) for piece in parts.rigid if piece.is_eyeball]
        self._balls = [ball for ball in self._balls if len(ball.vertices)]
        self._scale, self._enough = likeness.scale, ENOUGH * size * likeness.scale
        self._prepare(REACH * size * likeness.scale)

    def __call__(self, delta: NDArray, carried: NDArray) -> Floats:
        """(s, 3) mm, the skin's `carried` displacement corrected, for a displacement (n, 3) mm of the old head."""
        own = delta[self._skin]
        touched = np.array(carried)
        if not own.any():
            return touched
        pose = self._source.positions + own
        goal = self._open.goal(pose)
        faced = [side.goal(pose) for side in self._sides]
        for _ in range(ROUNDS):
            for ball in self._balls:
                turned, way = self._parts.motion(ball.piece, delta, touched)
                ball.slide(pose, ball.piece.motion(delta), self._scale, self._target.positions, touched, (turned, way))
            now = self._target.positions + touched
            lacking = self._open.lacking(now, goal)
            for side, wanted in zip(self._sides, faced, strict=True):
                lacking[side.rows] = SHARE * side.lacking(now, wanted)
            if not float((lacking**2).sum(axis=1).max(initial=0.0)) > self._enough**2:
                break
            touched[self._near] += self._factor.solve(np.asfortranarray(self._spread @ lacking))
        return touched

    def _prepare(self, reach_mm: float) -> None:
        """The region that a correction can reach, its factor, and what takes a pair's lack to the right-hand side."""
        target, pairs = self._target, self.pairs
        self._near = np.zeros(0, dtype=np.int64)
        if not len(pairs.vertex):
            return
        at = target.positions
        ends = at[np.unique(np.concatenate([pairs.vertex, pairs.corners[pairs.bary > 1e-9]]))]
        self._near = np.flatnonzero(cKDTree(ends).query(at, distance_upper_bound=3.0 * reach_mm)[0] < np.inf)
        smooth = target.laplacian * reach_mm**2 + sp.diags(target.mass, format="csc")
        energy = smooth.tocsr()[self._near].tocsc()[:, self._near]
        across = pairs.matrix(len(at), self._open.chosen)[:, self._near].tocsc()
        firm = FIRM * float(np.median(energy.diagonal()))
        self._spread = (firm * across.T).tocsr()
        self._factor = factorise(energy + firm * (across.T @ across))


class _Open:
    """Pairs that stand open at rest: what gap each wants in a pose, and how much it counts. Others count nothing."""

    def __init__(self, pairs: Pairs, source: NDArray, target: NDArray, likeness: Similarity, size: float) -> None:
        self._pairs, self._likeness = pairs, likeness
        old, new = pairs.gaps(source), pairs.gaps(target)
        self._wide = np.linalg.norm(old, axis=1)
        self.chosen = self._wide > OPEN * size
        laid = likeness.vectors(old)
        grown = np.linalg.norm(new, axis=1) / np.maximum(np.linalg.norm(laid, axis=1), np.finfo(float).tiny)
        self._turns = grown[:, None, None] * _least_turns(laid, new)

    def goal(self, pose: NDArray) -> tuple[Floats, Floats]:
        """For the old head's `pose`, the gaps (p, 3) mm of the new one, and how much each counts (p,)."""
        gaps = self._pairs.gaps(pose)
        far = np.linalg.norm(gaps, axis=1) / np.maximum(self._wide, np.finfo(float).tiny)
        counts = np.where(self.chosen, np.maximum(1.0 - far**4, 0.0), 0.0)
        return np.einsum("pij,pj->pi", self._turns, self._likeness.vectors(gaps)), counts

    def lacking(self, pose: NDArray, goal: tuple[Floats, Floats]) -> Floats:
        """(p, 3) mm, what a pose of the new head lacks."""
        return goal[1][:, None] * (goal[0] - self._pairs.gaps(pose))


class _Side:
    """Vertices (k,) that touch the other side at rest, the `rows` of their pairs, and the other side's triangles."""

    def __init__(
        self, rows: Ints, vertices: Ints, triangles: Ints, source: Surface, target: Surface, likeness: Similarity,
        size: float,
    ) -> None:  # fmt: skip
        self.rows, self._vertices, self._triangles = rows, vertices, triangles
        self._reach, self._likeness = FADE * size, likeness
        self._at_rest = self._place(source.positions)
        self._old = self._at_rest.gaps(source.positions)
        self._rest = self._at_rest.gaps(target.positions) - likeness.vectors(self._old)

    def goal(self, pose: NDArray) -> tuple[Pairs, Floats, Floats]:
        """For the old head's `pose`: where each vertex now faces the other side, the gap (k, 3) mm that the new head
        is to have there, and how much each counts (k,).
        """
        place = self._place(pose)
        gaps = place.gaps(pose)
        counts = np.maximum(1.0 - (np.linalg.norm(gaps, axis=1) / self._reach) ** 4, 0.0)
        slid = np.linalg.norm(self._at_rest.gaps(pose) - self._old, axis=1) / self._reach
        return place, self._likeness.vectors(gaps) + np.maximum(1.0 - slid, 0.0)[:, None] * self._rest, counts

    def lacking(self, pose: NDArray, goal: tuple[Pairs, Floats, Floats]) -> Floats:
        """(k, 3) mm, what a pose of the new head lacks."""
        place, wanted, counts = goal
        return counts[:, None] * (wanted - place.gaps(pose))

    def _place(self, pose: NDArray) -> Pairs:
        used, corners = np.unique(self._triangles, return_inverse=True)
        closest = ClosestSurface(pose[used], corners.reshape(-1, 3)).near(pose[self._vertices])
        return Pairs(self._vertices, self._triangles[closest.triangle], closest.bary)


class _Ball:
    """An eyeball on both heads, and the skin (k,) near it that slides on it."""

    def __init__(self, piece: RigidPiece, source: Surface, target: Surface, size: float) -> None:
        self.piece = piece
        self._old, self._new = _Radius(piece.old), _Radius(piece.new)
        arm = source.positions - piece.old_centre
        near = np.flatnonzero(np.linalg.norm(arm, axis=1) < self._old.most + HEIGHT[1] * size)
        height = self._old.height(arm[near])
        share = np.clip((HEIGHT[1] * size - height) / ((HEIGHT[1] - HEIGHT[0]) * size), 0.0, 1.0)
        self.vertices = near[share > 0.0]
        share = share[share > 0.0]
        self._share = share * share * (3.0 - 2.0 * share)
        self._rest = self._old.height(source.positions[self.vertices] - piece.old_centre)
        self._rest_new = self._new.height(target.positions[self.vertices] - piece.new_centre)

    def slide(
        self, pose: NDArray, old: tuple[Floats, Floats], scale: float, target: NDArray, moved: Floats,
        new: tuple[Floats, Floats],
    ) -> None:  # fmt: skip
        """Change `moved` (s, 3) so that the heights above the new eyeball follow those above the old one."""
        at = self.vertices
        before = self._old.height((pose[at] - self.piece.old_centre - old[1]) @ old[0])
        arm = target[at] + moved[at] - self.piece.new_centre - new[1]
        now = self._new.height(arm @ new[0])
        lacking = self._rest_new + scale * (before - self._rest) - now
        outward = arm / np.maximum(np.linalg.norm(arm, axis=1), np.finfo(float).tiny)[:, None]
        moved[at] += (self._share * lacking)[:, None] * outward


class _Radius:
    """How far a ball's surface lies from its centre, by direction, from its vertices (k, 3) about the centre."""

    def __init__(self, points: NDArray) -> None:
        self._length = np.linalg.norm(points, axis=1)
        self.most = float(self._length.max(initial=0.0))
        sound = self._length > 0.5 * float(np.median(self._length))
        self._length = self._length[sound]
        self._tree = cKDTree(points[sound] / self._length[:, None])

    def height(self, arm: NDArray) -> Floats:
        """(k,) mm above the surface of places (k, 3) about the centre."""
        if not len(arm):
            return np.zeros(0)
        length = np.linalg.norm(arm, axis=1)
        direction = arm / np.maximum(length, np.finfo(float).tiny)[:, None]
        away, near = self._tree.query(direction, k=min(NEAR, len(self._length)))
        away = np.maximum(away.reshape(len(arm), -1), 1e-9)
        weight = (1.0 / away - 1.0 / (1.0001 * away[:, -1:])) ** 2  # Franke and Nielson 1980: none jumps in or out
        return length - (weight * self._length[near].reshape(len(arm), -1)).sum(axis=1) / weight.sum(axis=1)


def find_pairs(head: Head, source: Surface, number: NDArray, touch: float) -> tuple[Pairs, list[tuple[Ints, Ints]]]:
    """The pairs of a head by its landmark curves, and for each side of what meets its rows among them and the
    triangles (t, 3) of the other side; `number` (n,) is each vertex's place in the skin `source`, or -1; what is
    nearer than `touch` mm touches.

    Each vertex within a few edges of one curve is paired with the place of the other side nearest to it, at rest
    where it touches there, else in the shape that brings it nearest. A head without the curves, or whose lids and
    lips never touch, has none.
    """
    found = [Pairs(np.zeros(0, np.int64), np.zeros((0, 3), np.int64), np.zeros((0, 3)))]
    groups: list[tuple[Ints, Ints]] = []
    poses = [source.positions]
    kept = np.flatnonzero(number >= 0)
    poses += [source.positions + shape.delta[kept] for shape in head.shapes]
    for names in MEETING:
        lines = [_curve(head, name, number) for name in names]
        if any(line is None for line in lines):
            continue
        steps = [_steps(source, line) for line in lines if line is not None]
        sides = [np.flatnonzero((steps[i] <= STEPS) & (steps[i] < steps[1 - i])) for i in (0, 1)]
        for own, across in ((sides[0], sides[1]), (sides[1], sides[0])):
            on = np.zeros(source.n_vertices, dtype=bool)
            on[across] = True
            triangles = source.triangles[on[source.triangles].all(axis=1)].astype(np.int64)
            first = sum(len(one.vertex) for one in found)
            found.append(_nearest_pairs(poses, own, across, triangles, touch))
            groups.append((np.arange(first, first + len(found[-1].vertex)), triangles))
    whole = Pairs(*(np.concatenate([getattr(one, key) for one in found]) for key in ("vertex", "corners", "bary")))
    return whole, groups


def _nearest_pairs(poses: list[Floats], own: Ints, across: Ints, triangles: Ints, touch: float) -> Pairs:
    best = np.full(len(own), np.inf)
    corners, bary = np.zeros((len(own), 3), dtype=np.int64), np.zeros((len(own), 3))
    at_rest = np.zeros(len(own), dtype=bool)
    for number, pose in enumerate(poses if len(triangles) else []):
        ask = np.flatnonzero(~at_rest)
        near = ask[cKDTree(pose[across]).query(pose[own[ask]])[0] < 6.0 * touch]
        if not len(near):
            continue
        closest = ClosestSurface(pose, triangles).near(pose[own[near]])
        better = closest.distance < best[near]
        at = near[better]
        best[at] = closest.distance[better]
        corners[at], bary[at] = triangles[closest.triangle[better]], closest.bary[better]
        if number == 0:
            at_rest = best <= touch
    touching = best <= touch
    return Pairs(own[touching], corners[touching], bary[touching])


def _curve(head: Head, name: str, number: NDArray) -> Ints | None:
    marks = head.landmarks
    if marks is None or name not in marks.curves:
        return None
    curve = marks.curves[name]
    if not isinstance(curve, np.ndarray):
        skin = np.flatnonzero(number >= 0)
        return cKDTree(head.neutral[skin]).query(marks.curve_positions(name, head.neutral))[1].astype(np.int64)
    line = number[curve]
    return line[line >= 0] if (line >= 0).any() else None


def _steps(source: Surface, start: Ints) -> Ints:
    """(s,) edges from the nearest of `start`, STEPS + 1 beyond STEPS."""
    steps = np.full(source.n_vertices, STEPS + 1, dtype=np.int64)
    steps[start] = 0
    front = np.asarray(start)
    for k in range(1, STEPS + 1):
        near = np.unique(source.polygons.adjacency[front].indices)
        front = near[steps[near] > k]
        steps[front] = k
    return steps


def _least_turns(one: Floats, other: Floats) -> Floats:
    """(p, 3, 3) the least rotation that takes the direction of each of `one` (p, 3) to that of `other` (p, 3)."""
    a, b = (v / np.maximum(np.linalg.norm(v, axis=1), np.finfo(float).tiny)[:, None] for v in (one, other))
    axis, cosine = np.cross(a, b), np.einsum("pi,pi->p", a, b)
    skew = np.zeros((len(a), 3, 3))
    skew[:, 0, 1], skew[:, 0, 2], skew[:, 1, 2] = -axis[:, 2], axis[:, 1], -axis[:, 0]
    skew -= np.transpose(skew, (0, 2, 1))
    return np.eye(3) + skew + skew @ skew / np.maximum(1.0 + cosine, 1e-6)[:, None, None]
