"""Where a library's head lies on a sculpt, by form alone: turns tried all around, and closest points from each.

Both surfaces become points of equal area with their normals. From every turn of an icosahedron the skin is brought onto
the sculpt by closest points both ways, with the worst left out each time (Chetverikov et al. 2005, "Robust Euclidean
alignment of 3D point sets: the trimmed iterative closest point algorithm"). Two rounds solve for turn, shift and size
in closed form. The others let the skin slide: distances count along the mean of both normals (Rusinkiewicz 2019, "A
symmetric objective function for ICP"), for on a head, which is nearly round, closest points alone hardly turn. All
turns run at once. Of the best place half turns are tried as well: a head upside down or back to front comes near to
anything that is nearly round. What a place is worth is for others to judge (`rivals.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from composer.geometry.rigid import Similarity, nearest_rotation
from composer.geometry.triangle_metric import triangle_vectors

Rows = NDArray[np.float64]

POINTS = (300, 800)
"""Points of either surface while all turns are tried, and for the best ones (our choice)."""
NORMALS = 0.08
"""How far apart, as a share of the diagonal, two points count whose normals are a right angle apart: 27 mm a radian on
a head (our choice)."""
SHARES = np.array([0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
"""Shares of the closest points that may count in a round, on either side: hair, collars, a bust's shoulders and missing
backs are left out."""
FOR_MORE = 1.5
"""The share is the one with the least error divided by this power of it (Chetverikov et al. take 2 to 3)."""
SIZES = (0.8, 1.0, 1.25)
"""Sizes that are tried, in that at which both surfaces have the same spread (our choice)."""
SHIFTING, SLIDING = 2, 8
"""Rounds of either kind from every start (our choice): the first bring size and place, the others the turn."""
FINALISTS, LAST = 24, 12
"""Different places that then slide on over more points, and for how many rounds (our choice)."""
HALF_TURNS = np.array([np.diag(each) for each in ((1.0, -1.0, -1.0), (-1.0, 1.0, -1.0), (-1.0, -1.0, 1.0))])
"""Half turns about the head's own axes."""
HELD = 1e-3
"""How strongly each round holds on to where it is, as a share of a mean square lever, where planes leave the way open
(our choice): .01 and .0001 find the same places, the first in more rounds."""
LARGER = 0.2
"""Most by which the logarithm of the size changes in a sliding round (our choice)."""
APART_DEG, APART_SIZE = 15.0, 0.15
"""Two places are different where their turns, or the logarithms of their sizes, are further apart (our choice)."""
SIZE_RANGE = (0.6, 1.6)
"""Range of the size, in that of equal spread: closest points alone would shrink a head into one fold of the sculpt (our
choice)."""


@dataclass(frozen=True, eq=False)
class Place:
    """A place of a head on a sculpt: the similarity `move`, and what is left of the distances, a root mean square over
    both ways without the worst fifth, in the library's mm."""

    move: Similarity
    left: float


def points_on(positions: Rows, triangles: NDArray, count: int, seed: int = 0) -> tuple[Rows, Rows]:
    """(count, 3) points spread evenly by area over `triangles` (t, 3), and their triangles' unit normals; the same on
    every run."""
    area = triangle_vectors(positions, triangles)
    size = np.linalg.norm(area, axis=1)
    rng = np.random.default_rng(seed)
    run = np.cumsum(size)
    chosen = np.searchsorted(run, (np.arange(count) + rng.random(count)) / count * run[-1]).clip(max=len(run) - 1)
    u, v = rng.random((2, count))
    flip = u + v > 1.0
    u, v = np.where(flip, 1.0 - u, u), np.where(flip, 1.0 - v, v)
    a, b, c = (positions[triangles[chosen, corner]] for corner in range(3))
    places = a + u[:, None] * (b - a) + v[:, None] * (c - a)
    return places, area[chosen] / np.maximum(size[chosen], 1e-300)[:, None]


def places_by_form(
    skin: tuple[Rows, NDArray], sculpt: tuple[Rows, NDArray], scale: float, about: Rows | None = None
) -> list[Place]:
    """Different places of a `skin` on a `sculpt`, each positions (n, 3) mm and triangles (t, 3): the best one, its half
    turns, the others. `scale` is the head's diagonal in mm. With `about` (3, 3) every start is turned by it first."""
    size = _spread(points_on(*sculpt, POINTS[1])[0]) / _spread(points_on(*skin, POINTS[1])[0])
    search = _Search.between(skin, sculpt, POINTS[0], size, NORMALS * scale)
    turns = Rotation.create_group("I").as_matrix() @ (np.eye(3) if about is None else about)
    turn = np.tile(turns, (len(SIZES), 1, 1))
    moves = search.centred(turn, np.repeat(np.array(SIZES) * size, len(turns)))
    for _ in range(SHIFTING):
        moves, left = search.round(moves)
    for _ in range(SLIDING):
        moves, left = search.round(moves, sliding=True)
    moves = moves.only(_different(moves, np.argsort(left))[:FINALISTS])
    search = _Search.between(skin, sculpt, POINTS[1], size, NORMALS * scale)
    moves, left = _slid(search, moves)
    best = moves.only(np.array([left.argmin()]))
    turned = search.centred(best.turn @ HALF_TURNS, np.repeat(best.size, len(HALF_TURNS)))
    turned, left_turned = _slid(search, turned)
    moves, left = moves.and_(turned), np.concatenate([left, left_turned])
    group = np.where(np.arange(len(left)) < len(left) - len(HALF_TURNS), 2, 1)
    group[left[group == 2].argmin()] = 0
    return [
        Place(Similarity(moves.turn[i], moves.shift[i], float(moves.size[i])), float(left[i]))
        for i in _different(moves, np.lexsort((left, group)))
    ]


def _slid(search: _Search, moves: _Moves) -> tuple[_Moves, Rows]:
    """The moves after the LAST rounds, and what is left (k,)."""
    for _ in range(LAST):
        moves, left = search.round(moves, sliding=True)
    return moves, left


def _different(moves: _Moves, order: NDArray) -> NDArray[np.int64]:
    """The numbers of those of the moves that differ from every one before them in an `order` (k,)."""
    found: list[int] = []
    for number in order:
        trace = np.einsum("kij,ij->k", moves.turn[found], moves.turn[number])
        near = trace > 1.0 + 2.0 * np.cos(np.radians(APART_DEG))
        if not (near & (np.abs(np.log(moves.size[found] / moves.size[number])) < APART_SIZE)).any():
            found.append(int(number))
    return np.array(found, dtype=np.int64)


def _spread(points: Rows) -> float:
    """The root mean square distance of `points` (k, 3) from their mean."""
    return float(np.sqrt(((points - points.mean(0)) ** 2).sum(1).mean()))


@dataclass(frozen=True, eq=False)
class _Moves:
    """k similarities: `turn` (k, 3, 3), `shift` (k, 3), `size` (k,)."""

    turn: Rows
    shift: Rows
    size: Rows

    def only(self, chosen: NDArray) -> _Moves:
        return _Moves(self.turn[chosen], self.shift[chosen], self.size[chosen])

    def and_(self, other: _Moves) -> _Moves:
        return _Moves(*(np.concatenate([getattr(each, name) for each in (self, other)]) for name in
                        ("turn", "shift", "size")))  # fmt: skip

    def forth(self, points: Rows) -> Rows:
        """`points` (m, 3) or (k, m, 3) moved, (k, m, 3)."""
        return self.size[:, None, None] * (points @ self.turn.transpose(0, 2, 1)) + self.shift[:, None]

    def back(self, points: Rows) -> Rows:
        """`points` (m, 3) moved back, (k, m, 3)."""
        return ((points[None] - self.shift[:, None]) @ self.turn) / self.size[:, None, None]


class _Search:
    """Closest points between two clouds, in place and normal, for many similarities at once; either tree is built once.
    """

    def __init__(self, own: Rows, own_normal: Rows, goal: Rows, goal_normal: Rows, size: float, bend: float) -> None:
        self.own, self.goal, self.size = own, goal, size
        self.own_normal, self.goal_normal = bend * own_normal, bend * goal_normal
        self.own_tree = cKDTree(np.hstack([own, self.own_normal]))
        self.goal_tree = cKDTree(np.hstack([goal / size, self.goal_normal]))

    @classmethod
    def between(
        cls, skin: tuple[Rows, NDArray], sculpt: tuple[Rows, NDArray], count: int, size: float, bend: float
    ) -> _Search:
        return cls(*points_on(*skin, count), *points_on(*sculpt, count, seed=1), size, bend)

    def centred(self, turn: Rows, size: Rows) -> _Moves:
        """Moves of these turns (k, 3, 3) and sizes (k,) that bring one mean onto the other."""
        return _Moves(turn, self.goal.mean(0) - size[:, None] * (turn @ self.own.mean(0)), size)

    def round(self, moves: _Moves, sliding: bool = False) -> tuple[_Moves, Rows]:
        """Better moves (k), and what is left (k,) with those that were given, in the library's mm. With `sliding`
        distances count along the normals alone."""
        k = len(moves.size)
        turned = self.own_normal @ moves.turn.transpose(0, 2, 1)
        to_goal = self.goal_tree.query(np.concatenate([moves.forth(self.own) / self.size, turned], axis=2))[1]
        back = self.goal_normal @ moves.turn
        to_own = self.own_tree.query(np.concatenate([moves.back(self.goal), back], axis=2))[1]
        source = np.concatenate([np.broadcast_to(self.own, (k, *self.own.shape)), self.own[to_own]], axis=1)
        target = np.concatenate([self.goal[to_goal], np.broadcast_to(self.goal, (k, *self.goal.shape))], axis=1)
        bent = np.concatenate([self.goal_normal[to_goal] - turned, self.own_normal[to_own] - back], axis=1)
        off = moves.forth(source) - target
        distance = np.sqrt((off**2).sum(2) / moves.size[:, None] ** 2 + (bent**2).sum(2))
        half = len(self.own)
        kept, cost = zip(*(_kept(each) for each in (distance[:, :half], distance[:, half:])), strict=True)
        counts = np.concatenate(kept, axis=1)
        sizes = SIZE_RANGE[0] * self.size, SIZE_RANGE[1] * self.size
        if not sliding:
            return _best(source, target, counts, sizes), cost[0] + cost[1]
        theirs = np.concatenate([self.goal_normal[to_goal], np.broadcast_to(self.goal_normal, back.shape)], axis=1)
        ours = np.concatenate([turned, self.own_normal[to_own] @ moves.turn.transpose(0, 2, 1)], axis=1)
        return _slide(moves, moves.forth(source), off, ours + theirs, counts, sizes), cost[0] + cost[1]


def _kept(distance: Rows) -> tuple[NDArray[np.bool_], Rows]:
    """(k, m) which distances count, for the share with the least error for its size, and that error (k,)."""
    ordered = np.sort(distance, axis=1)
    count = (SHARES * ordered.shape[1]).astype(int)
    error = np.sqrt(np.cumsum(ordered**2, axis=1)[:, count - 1] / count) / SHARES**FOR_MORE
    best = error.argmin(1)
    rows = np.arange(len(ordered))
    return distance <= ordered[rows, count[best] - 1][:, None], error[rows, best]


def _best(source: Rows, target: Rows, kept: NDArray, sizes: tuple[float, float]) -> _Moves:
    """The similarities (k) of `source` onto `target` (k, m, 3) over the `kept` (k, m) pairs (Umeyama 1991)."""
    share = kept / kept.sum(1)[:, None]
    centre, goal = (np.einsum("km,kmc->kc", share, each) for each in (source, target))
    a, b = source - centre[:, None], target - goal[:, None]
    turn, values = nearest_rotation(np.einsum("km,kmi,kmj->kij", share, b, a))
    size = np.clip(values.sum(1) / np.maximum(np.einsum("km,kmc->k", share, a**2), 1e-300), *sizes)
    return _Moves(turn, goal - size[:, None] * np.einsum("kij,kj->ki", turn, centre), size)


def _slide(
    moves: _Moves, places: Rows, off: Rows, normal: Rows, kept: NDArray, sizes: tuple[float, float]
) -> _Moves:  # fmt: skip
    """One step of Gauss and Newton for the moves (k): turn, shift and size that bring `places` (k, m, 3), which lie
    `off` their goals, onto these along `normal` (of any length), over the `kept` (k, m) pairs."""
    share = kept / kept.sum(1)[:, None]
    normal = normal / np.maximum(np.linalg.norm(normal, axis=2, keepdims=True), 1e-300)
    centre = np.einsum("km,kmc->kc", share, places)
    lever = places - centre[:, None]
    spread = np.sqrt(np.einsum("km,kmc->k", share, lever**2))[:, None]
    lever = lever / spread[:, None]
    rows = np.concatenate(
        [np.cross(lever, normal), normal, (lever * normal).sum(2, keepdims=True)], axis=2
    )  # fmt: skip
    weighted = (rows * share[:, :, None]).transpose(0, 2, 1)
    wanted = weighted @ -(off * normal).sum(2, keepdims=True) / spread[:, None]
    step = np.linalg.solve(weighted @ rows + HELD * np.eye(7), wanted)[:, :, 0]
    turn = Rotation.from_rotvec(step[:, :3]).as_matrix()
    size = np.clip(moves.size * np.exp(np.clip(step[:, 6], -LARGER, LARGER)), *sizes)
    grown = (size / moves.size)[:, None]
    shift = centre + grown * np.einsum("kij,kj->ki", turn, moves.shift - centre) + spread * step[:, 3:6]
    return _Moves(turn @ moves.turn, shift, size)
