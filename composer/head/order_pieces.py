"""Laying a mesh on another piece by piece: unique pieces first, and what fits in several ways by evidence.

Pieces are laid in the order of their size. A piece that fits in one way only is laid at once. Others wait until these
lie, for the places of what is known tell where the rest belongs.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.half_edges import HalfEdges
from composer.geometry.rigid import similarity
from composer.head.head import TextureCoordinates
from composer.head.order_seeds import Seed, seeds, vertex_classes
from composer.head.order_walk import Disagreement, Walk, Walked

Ints = NDArray[np.int32]
PATCH = 1500
"""Polygons walked to judge a seed, about."""
MOST_WAYS = 256
"""Ways of laying one piece that are tried, those nearest by place first."""
MOST_TRIED = 24
"""The same where a fault is looked for."""
SOME_WAYS, NEAR_WAYS = 64, 12
"""Once the largest piece lies, the places of the others are known: of more than SOME the NEAR nearest are tried."""
CLEARLY, BY_BOTH = 0.5, 0.85
"""The best way's error may be this share of the second's: then it is clear which is meant. More will do where the
same way is the best by its place and by its form."""
ALIKE = 1e-6
"""Of the head's size: forms that differ by less are the same form."""
UV_SAME = 1e-3
"""Texture coordinates as far apart as this are not the same ones."""
SAMPLE = 50_000
"""Vertices, evenly spread, from which the motion of what is laid is taken."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """What decides where connectivity does not: places (n, 3), texture coordinates, landmarks (m, 2)."""

    positions: NDArray | None = None
    other_positions: NDArray | None = None
    uv: TextureCoordinates | None = None
    other_uv: TextureCoordinates | None = None
    landmarks: NDArray | None = None
    start: tuple[int, int] | None = None
    """A corner of the reference and the other's that lies on it, where that is known beforehand."""


@dataclass(frozen=True, eq=False)
class _Way:
    corner: int
    other: int
    patch: Walked


class Matching:
    """The walk of a whole mesh. `walk` holds what is laid, `decided` what had to decide, `corner` (k,) the corners."""

    def __init__(self, a: HalfEdges, b: HalfEdges, evidence: Evidence) -> None:
        """Take the reference, the other mesh and what is known of both."""
        self.a, self.b, self.evidence = a, b, evidence
        self.walk = Walk(a, b)
        self.corner = np.full(len(a.vertex), -1, dtype=np.int32)
        self.decided: Literal["connectivity", "landmark", "uv", "geometry"] = "connectivity"
        self.ambiguous: tuple[int, int] | None = None
        self.complete = False
        self._by_texture = False
        self._classes = vertex_classes(a, b)
        self._pieces, self._other_pieces = _Pieces(a), _Pieces(b)
        self._placed = _Placing(a, b, evidence)

    def run(self) -> None:
        """Lay every piece; `complete` tells whether all could be. Where not, `ambiguous` or `part()` say why."""
        self.complete = self._lay_all()

    def _lay_all(self) -> bool:
        if not self._pieces.same_sizes(self._other_pieces):
            return False
        self._seed_by_hand()
        waiting = []
        for piece in self._pieces.largest_first():
            if self._laid(piece):
                continue
            outcome = self._lay(piece, sure=False)
            if outcome == "several":
                waiting.append(piece)
            elif outcome == "none":
                return False
        while waiting:  # what is laid tells where its neighbours are: one tooth after the other
            self._placed.learn(self.walk)
            left = []
            for piece in waiting:
                outcome = "laid" if self._laid(piece) else self._lay(piece, sure=True)
                if outcome == "none":
                    return False
                if outcome == "several":
                    left.append(piece)
                elif not self._placed.learnt:
                    self._placed.learn(self.walk)
            if len(left) == len(waiting):
                return False
            waiting = left
        return self._lay_loose() and self._whole()

    def _laid(self, piece: int) -> bool:
        return bool(self.walk.polygon[self._pieces.faces(piece)[0]] >= 0)

    def _seed_by_hand(self) -> None:
        start, marks = self.evidence.start, self.evidence.landmarks
        if start is not None:
            walked = self.walk.run(*start)
            if walked.stopped is None:
                self._commit(walked)
        if marks is None:
            return
        for mine, other in np.asarray(marks, dtype=np.int64):
            corners = self.a.corners_at(int(mine))
            if not len(corners) or self.walk.polygon[self.a.face[corners[0]]] >= 0:
                continue
            ways = self._ways(int(corners[0]), self.b.corners_at(int(other)))
            if self._choose(ways, sure=True) == "laid":
                self.decided = "landmark"

    def _lay(self, piece: int, sure: bool) -> Literal["laid", "several", "none"]:
        corners = self._pieces.corners(piece)
        for seed in self._seeds_of(piece, corners):
            self._by_texture = False
            others = self._likely(*seed, sure)
            if len(others) > NEAR_WAYS and not sure and self.walk.laid_any:
                return "several"
            outcome = self._choose(self._ways(seed[0], others), sure)
            if outcome != "none":
                return outcome
        return "none"

    def _seeds_of(self, piece: int, corners: Ints) -> Iterable[Seed]:
        touched = corners[self.walk.vertex[self.a.vertex[corners]] >= 0]
        if len(touched):  # it shares a vertex with what lies already
            yield int(touched[0]), self.b.corners_at(int(self.walk.vertex[self.a.vertex[touched[0]]]))
        others = self._other_pieces.corners_like(len(self._pieces.faces(piece)), len(corners), self.walk.from_polygon)
        yield from seeds(self.a, self.b, self._classes, corners, others)
        for corner in corners[:: max(1, len(corners) // 3)].tolist():
            near = self._placed.nearest(corner)
            if near is not None:
                yield corner, self.b.corners_at(near)

    def _likely(self, corner: int, others: Ints, sure: bool) -> Ints:
        """Of the corners on which `corner` may lie, those that are free and worth a walk."""
        others = others[self.walk.from_polygon[self.b.face[others]] < 0]
        if not sure:
            same = self._of_one_texture(corner, others)
            if 0 < len(same) < len(others):
                self._by_texture = True
                return same
            return others
        some, most = (SOME_WAYS, NEAR_WAYS) if self._placed.learnt else (MOST_WAYS, MOST_WAYS)
        return self._placed.nearest_of(corner, others)[:most] if len(others) > some else others

    def _of_one_texture(self, corner: int, others: Ints) -> Ints:
        """Those of the corners that have the texture coordinates of `corner`."""
        mine, other = self.evidence.uv, self.evidence.other_uv
        if mine is None or other is None or mine.indices[corner] < 0:
            return others[:0]
        index = other.indices[others]
        off = np.abs(other.uv[index] - mine.uv[mine.indices[corner]]).max(axis=1, initial=0.0)
        return others[(index >= 0) & (off < UV_SAME)]

    def _ways(self, corner: int, others: Ints) -> list[_Way]:
        """The corners of the other on which a patch about `corner` can be laid."""
        ways = []
        for other in others.tolist():
            patch = self.walk.run(corner, other, PATCH, keep=False)
            if patch.stopped is None and self._keeps_marks(patch):
                ways.append(_Way(corner, other, patch))
        return ways

    def _choose(self, ways: list[_Way], sure: bool) -> Literal["laid", "several", "none"]:
        """Lay the best of the ways whole; the next, where the whole piece does not fit after all.

        Not `sure`, geometry has no voice yet: several good ways then wait.
        """
        by, order = "uv" if self._by_texture else "connectivity", ways
        if len(ways) > 1:
            ranked = self._ranked(ways, sure)
            if ranked is None:
                if not sure:
                    return "several"
                ways = [way for way in ways if self.walk.run(way.corner, way.other, keep=False).stopped is None]
                if len(ways) > 1:
                    self.ambiguous = int(self.a.face[ways[0].corner]), len(ways)
                    return "several"
                order = ways
            else:
                by, order = ranked
        for way in order:
            whole = self.walk.run(way.corner, way.other)
            if whole.stopped is None and self._keeps_marks(whole):
                self._commit(whole)
                if by != "connectivity" and self.decided != "landmark":
                    self.decided = by  # type: ignore[assignment]
                return "laid"
        return "none"

    def _ranked(self, ways: list[_Way], sure: bool) -> tuple[str, list[_Way]] | None:
        """The ways, the best first, and what told them apart; None where nothing does."""
        found = _clear([self._uv_error(way.patch) for way in ways], ways)
        if found is not None and self._uv_error(found[0].patch) < UV_SAME:
            return "uv", found
        if not sure or not self._placed.known:
            return None
        placed = [self._placed.error(way.patch) for way in ways]
        own = [self._placed.own_error(way.patch) for way in ways]
        found = _clear(placed, ways) or _clear(own, ways) or _agreed(placed, own, ways)
        if found is None:  # alike in themselves: which of them is turned as the head is
            alike = [way for way, error in zip(ways, own, strict=True) if error <= 2 * min(own) + ALIKE]
            found = _clear([self._placed.turned_error(way.patch) for way in alike], alike)
        return None if found is None else ("geometry", found)

    def _uv_error(self, patch: Walked) -> float:
        mine, other = self.evidence.uv, self.evidence.other_uv
        if mine is None or other is None:
            return np.inf
        a, b = mine.indices[patch.corners], other.indices[patch.others]
        both = (a >= 0) & (b >= 0)
        return float(np.abs(mine.uv[a[both]] - other.uv[b[both]]).mean()) if both.any() else np.inf

    def _keeps_marks(self, patch: Walked) -> bool:
        marks = self.evidence.landmarks
        if marks is None:
            return True
        wanted = dict(np.asarray(marks, dtype=np.int64).tolist())
        at = np.flatnonzero(np.isin(self.a.vertex[patch.corners], list(wanted)))
        mine, other = self.a.vertex[patch.corners[at]], self.b.vertex[patch.others[at]]
        return all(wanted[int(m)] == int(o) for m, o in zip(mine, other, strict=True))

    def _commit(self, walked: Walked) -> None:
        self.corner[walked.corners] = walked.others

    def part(self) -> Disagreement | None:
        """Where the two meshes part first, after a `run` that was not complete; None where no place is found.

        Every piece is laid as far as it agrees, from the seed from which most agrees (where the largest piece lies, of
        those that agree by half the one that is nearest); the first disagreement of the largest piece that has any is
        the answer, for a fault is small beside what is sound.
        """
        self.walk, learnt = Walk(self.a, self.b), False
        for piece in self._pieces.largest_first():
            corners = self._pieces.corners(piece)
            tried: list[tuple[int, float, int, int]] = []
            for corner, others in self._seeds_of(piece, corners):
                for other in self._placed.nearest_of(corner, others)[:MOST_TRIED].tolist():
                    if self.walk.from_polygon[self.b.face[other]] < 0:
                        way = self.walk.run(corner, other, 4 * PATCH, keep=False, tolerant=True)
                        tried.append((way.agreed, self._placed.error(way) if learnt else 0.0, corner, other))
            if not tried:
                face, size = int(self._pieces.faces(piece)[0]), len(self._pieces.faces(piece))
                return Disagreement(face, -1, f"a piece of {size} polygons for which the other has none alike", 0)
            most = max(agreed for agreed, *_ in tried)
            good = [way for way in tried if 2 * way[0] >= most]
            _, _, corner, other = min(good, key=lambda way: (way[1], -way[0]))
            stopped = self.walk.run(corner, other, tolerant=True).stopped
            if stopped is not None:
                return stopped
            if not learnt and self._placed.known:
                self._placed.learn(self.walk)
                learnt = True
        over = np.flatnonzero(self.walk.from_polygon < 0)
        return None if not len(over) else Disagreement(-1, int(over[0]), f"{len(over)} polygons more", 0)

    def _lay_loose(self) -> bool:
        """Vertices of no polygon: by place where that is known, else in order."""
        mine = np.flatnonzero(self.walk.vertex < 0).astype(np.int32)
        other = np.flatnonzero(self.walk.from_vertex < 0).astype(np.int32)
        if len(mine) != len(other):
            return False
        if len(mine) and self._placed.known:
            other = self._placed.paired(mine, other)
        self.walk.vertex[mine], self.walk.from_vertex[other] = other, mine
        return True

    def _whole(self) -> bool:
        """Whether everything is laid, each corner on one at the same vertex, across on across."""
        corner = self.corner
        if (corner < 0).any() or (self.walk.from_polygon < 0).any():
            return False
        good = self.walk.vertex[self.a.vertex] == self.b.vertex[corner]
        across = self.b.twin[corner]
        open_ = self.a.twin < 0
        good &= np.where(open_, across == self.a.twin, corner[self.a.twin] == across)
        return bool(good.all())


def _clear(errors: list[float], ways: list[_Way]) -> list[_Way] | None:
    """The ways, the best first, where one of them is clearly the best."""
    order = sorted(range(len(ways)), key=lambda i: errors[i])
    if len(ways) > 1:
        best, second = errors[order[0]], errors[order[1]]
        if not np.isfinite(second) or best >= CLEARLY * second or second <= 1e-9:
            return None
    return [ways[i] for i in order]


def _agreed(placed: list[float], own: list[float], ways: list[_Way]) -> list[_Way] | None:
    """The ways by their places, where the best by place is the best by form and each a good deal better."""
    best = int(np.argmin(placed))
    if best != int(np.argmin(own)) or any(e[best] >= BY_BOTH * np.partition(e, 1)[1] for e in (placed, own)):
        return None
    return [ways[i] for i in np.argsort(placed, kind="stable")]


class _Pieces:
    """The polygons of each piece together."""

    def __init__(self, mesh: HalfEdges) -> None:
        self.mesh = mesh
        self.order = np.argsort(mesh.pieces, kind="stable").astype(np.int32)
        self.sizes = np.bincount(mesh.pieces)
        self.starts = np.concatenate([[0], np.cumsum(self.sizes)])
        self.n_corners = np.bincount(mesh.pieces, weights=mesh.polygons.counts).astype(np.int64)

    def same_sizes(self, other: _Pieces) -> bool:
        """Whether both meshes fall into pieces of the same numbers of polygons and corners."""
        mine, theirs = (np.stack([p.sizes, p.n_corners])[:, np.lexsort((p.n_corners, p.sizes))] for p in (self, other))
        return np.array_equal(mine, theirs)

    def largest_first(self) -> list[int]:
        return np.argsort(-self.sizes, kind="stable").tolist()

    def faces(self, piece: int) -> Ints:
        return self.order[self.starts[piece] : self.starts[piece + 1]]

    def corners(self, piece: int) -> Ints:
        return _corners_of(self.mesh, self.faces(piece))

    def corners_like(self, faces: int, corners: int, laid: Ints) -> Ints:
        """The corners of the pieces of this size that are not laid; of all that are not, where there is none."""
        first = self.order[self.starts[:-1]] if len(self.sizes) else np.zeros(0, dtype=np.int32)
        free = laid[first] < 0
        like = free & (self.sizes == faces) & (self.n_corners == corners)
        chosen = np.flatnonzero(like if like.any() else free)
        if not len(chosen):
            return np.zeros(0, dtype=np.int32)
        return np.concatenate([self.corners(int(piece)) for piece in chosen])


def _corners_of(mesh: HalfEdges, faces: Ints) -> Ints:
    counts = mesh.polygons.counts[faces]
    first = np.repeat(mesh.polygons.starts[:-1][faces] - (np.cumsum(counts) - counts), counts)
    return (first + np.arange(int(counts.sum()))).astype(np.int32)


class _Placing:
    """Where the other's vertices are, seen from the reference: by what is laid, or else by their boxes."""

    def __init__(self, a: HalfEdges, b: HalfEdges, evidence: Evidence) -> None:
        mine, other = evidence.positions, evidence.other_positions
        self.known = mine is not None and other is not None and len(mine) > 0 and len(other) > 0
        self.a, self.b, self.learnt = a, b, False
        if mine is None or other is None or not self.known:
            return
        self.mine, self.other = np.asarray(mine, np.float64), np.asarray(other, np.float64)
        middle, self.size = _box(self.mine)
        other_middle, other_size = _box(self.other)
        self.seen = (self.other - other_middle) * (self.size / other_size) + middle
        self.carried = self.mine

    def learn(self, walk: Walk) -> None:
        """Take the motion of what is laid for the motion of all: as a whole, and beside that, of what is nearest.

        The skull carries eyeballs and teeth, the lids carry lashes; which it is nobody has said.
        """
        laid, open_ = np.flatnonzero(walk.vertex >= 0), np.flatnonzero(walk.vertex < 0)
        laid = laid[:: max(1, len(laid) // SAMPLE)]
        if not self.known or len(laid) < 4:
            return
        self.seen = similarity(self.other[walk.vertex[laid]], self.mine[laid])(self.other)
        self.carried = self.mine.copy()
        if len(open_):
            beside = laid[cKDTree(self.mine[laid]).query(self.mine[open_])[1]]
            self.carried[open_] += self.seen[walk.vertex[beside]] - self.mine[beside]
        self.learnt = True

    def error(self, patch: Walked) -> float:
        """RMS distance of a patch from where it is laid, of the head's size."""
        va, vb = self.a.vertex[patch.corners], self.b.vertex[patch.others]
        off = min(((at[va] - self.seen[vb]) ** 2).sum(axis=1).mean() for at in (self.mine, self.carried))
        return float(np.sqrt(off)) / self.size

    def own_error(self, patch: Walked) -> float:
        """The same after the patch has been moved, turned and scaled as well as can be."""
        va, vb = self.a.vertex[patch.corners], self.b.vertex[patch.others]
        moved = similarity(self.other[vb], self.mine[va])(self.other[vb])
        return float(np.sqrt(((self.mine[va] - moved) ** 2).sum(axis=1).mean())) / self.size

    def turned_error(self, patch: Walked) -> float:
        """The same after the patch has been moved but not turned."""
        off = self.mine[self.a.vertex[patch.corners]] - self.seen[self.b.vertex[patch.others]]
        return float(np.sqrt(((off - off.mean(axis=0)) ** 2).sum(axis=1).mean())) / self.size

    def nearest(self, corner: int) -> int | None:
        """The other's vertex nearest to a corner's."""
        if not self.known:
            return None
        return int(np.argmin(((self.seen - self.mine[self.a.vertex[corner]]) ** 2).sum(axis=1)))

    def nearest_of(self, corner: int, others: Ints) -> Ints:
        """The other's corners, the nearest first; as they come where nothing is known."""
        if not self.known:
            return others
        seen, v = self.seen[self.b.vertex[others]], self.a.vertex[corner]
        far = np.minimum(*(((seen - at[v]) ** 2).sum(axis=1) for at in (self.mine, self.carried)))
        return others[np.argsort(far, kind="stable")]

    def paired(self, mine: Ints, other: Ints) -> Ints:
        """The `other` vertices (m,) in the order of `mine` (m,): each takes the nearest that is left."""
        left = np.ones(len(other), dtype=bool)
        tree, out = cKDTree(self.seen[other]), np.empty_like(other)
        for i, point in enumerate(self.mine[mine]):
            near = np.atleast_1d(tree.query(point, k=min(8, len(other)))[1])
            near = near[left[near]]
            pick = int(near[0]) if len(near) else int(np.flatnonzero(left)[0])
            left[pick] = False
            out[i] = other[pick]
        return out


def _box(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """The middle of a bounding box and its diagonal, 1 where that is nothing."""
    low, high = (np.array([end(points[:, i]) for i in range(3)]) for end in (np.min, np.max))
    return (low + high) / 2, float(np.linalg.norm(high - low)) or 1.0
