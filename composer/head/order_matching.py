"""Matching two meshes piece by piece: unique pieces first, then those with several possible matches, by evidence.

Pieces are matched in the order of their size. A piece that fits in one way only is matched at once. The others wait
until then, because the positions of matched pieces show where the rest belongs.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.geometry.half_edges import HalfEdges
from composer.head.order_by_place import clear_pieces
from composer.head.order_pieces import Pieces
from composer.head.order_placing import Placing
from composer.head.order_ranking import Evidence, Ranking, Way
from composer.head.order_seeds import Seed, Signatures, seeds, vertex_classes
from composer.head.order_walk import Disagreement, Walk, Walked

Ints = NDArray[np.int32]
PATCH = 1500
"""About how many polygons are walked to test a seed. Our choice."""
MOST_WAYS = 256
"""The most matches of one piece that are tried: half the most alike in form, half the nearest. Our choice."""
MOST_TRIED = 24
"""The same in the search for the first difference. Our choice."""
SOME_WAYS, NEAR_WAYS = 64, 12
"""Once the largest piece is matched, positions are known: of more than SOME_WAYS only the NEAR_WAYS nearest are tried.
Our choice.
"""

class Matching:
    """The walk of a whole mesh. `walk` holds the match so far, `decided` what decided it, `corner` (k,) the corners."""

    def __init__(self, a: HalfEdges, b: HalfEdges, evidence: Evidence) -> None:
        """Take the reference, the other mesh and the evidence on both."""
        self.a, self.b, self.evidence = a, b, evidence
        self.walk = Walk(a, b)
        self.corner = np.full(len(a.vertex), -1, dtype=np.int32)
        self.decided: Literal["connectivity", "landmark", "uv", "geometry"] = "connectivity"
        self.ambiguous: tuple[int, int] | None = None
        self.complete = False
        self._by_texture = False
        mine, theirs = vertex_classes(a, b)
        self._signatures = Signatures(a, mine), Signatures(b, theirs)
        self._pieces, self._other_pieces = Pieces(a), Pieces(b)
        self._placed = Placing(a, b, evidence.positions, evidence.other_positions)
        self._ranking = Ranking(a, b, evidence, self._placed)

    def run(self) -> None:
        """Match every piece; `complete` tells whether all fit. If not, `ambiguous` or `part()` give the reason."""
        self.complete = self._lay_all()

    def _lay_all(self) -> bool:
        if not self._pieces.same_sizes(self._other_pieces):
            return False
        self._seed_by_hand()
        waiting, pieces = [], self._pieces.largest_first()
        for piece in pieces:
            outcome = "laid" if self._laid(piece) else self._lay(piece, sure=False)
            if outcome == "several":
                waiting.append(piece)
            elif outcome == "none" and not self.evidence.tolerant:
                return False
            elif piece == pieces[0]:
                self._placed.learn(self.walk)
                self._lay_clear()
        while waiting:  # each matched piece shows where its neighbours are: one tooth after the other
            self._placed.learn(self.walk)
            if self._laid(pieces[0]):
                self._lay_clear()
            left = []
            for piece in waiting:
                outcome = "laid" if self._laid(piece) else self._lay(piece, sure=True)
                if outcome == "none" and not self.evidence.tolerant:
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
        if self.evidence.laid is not None:
            self.walk.take(*self.evidence.laid)
            self.corner[self.evidence.laid[0]] = self.evidence.laid[1]
        if start is not None:
            walked = self.walk.run(*start, tolerant=self.evidence.tolerant)
            if walked.stopped is None or self.evidence.tolerant:
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

    def _lay_clear(self) -> None:
        """Match all pieces that lie clearly on theirs, once the largest shows how the meshes lie."""
        if self.evidence.tolerant or not self._placed.learnt:
            return
        places = self._placed.mine, self._placed.carried
        corners, others = clear_pieces(self.walk, places, self._placed.seen)
        agreed = self._ranking.agreeing(corners, others)
        corners, others = corners[agreed], others[agreed]
        if len(corners):
            self.walk.take(corners, others)
            self.corner[corners] = others
            if self.decided == "connectivity":
                self.decided = "geometry"

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
        if len(touched):  # it shares a vertex with a matched piece
            yield int(touched[0]), self.b.corners_at(int(self.walk.vertex[self.a.vertex[touched[0]]]))
        others = self._other_pieces.corners_like(len(self._pieces.faces(piece)), len(corners), self.walk.from_polygon)
        yield from seeds(*self._signatures, corners, others)
        for corner in corners[:: max(1, len(corners) // 3)].tolist():
            near = self._placed.nearest(corner)
            if near is not None:
                yield corner, self.b.corners_at(near)

    def _likely(self, corner: int, others: Ints, sure: bool) -> Ints:
        """The free corners among `others` that are worth a walk as the match of `corner`."""
        others = others[self.walk.from_polygon[self.b.face[others]] < 0]
        if not sure:
            same = self._ranking.of_one_texture(corner, others)
            if 0 < len(same) < len(others):
                self._by_texture = True
                return same
            return others
        if self._placed.learnt:
            return self._placed.nearest_of(corner, others)[:NEAR_WAYS] if len(others) > SOME_WAYS else others
        return self._placed.likeliest_of(corner, others, MOST_WAYS)

    def _ways(self, corner: int, others: Ints) -> list[Way]:
        """The corners of the other mesh that match a patch around `corner`."""
        ways = []
        for other in others.tolist():
            patch = self.walk.run(corner, other, PATCH, keep=False)
            if patch.stopped is None and self._ranking.keeps_marks(patch):
                ways.append(Way(corner, other, patch))
        return ways

    def _choose(self, ways: list[Way], sure: bool) -> Literal["laid", "several", "none"]:
        """Match the whole piece by the best of the ways, or by the next if the whole piece does not fit.

        Unless `sure`, geometry does not decide yet: several good ways then wait.
        """
        by, order = "uv" if self._by_texture else "connectivity", ways
        if len(ways) > 1:
            ranked = self._ranking.ranked(ways, sure)
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
            if whole.stopped is None and self._ranking.keeps_marks(whole):
                self._commit(whole)
                if by != "connectivity" and self.decided != "landmark":
                    self.decided = by  # type: ignore[assignment]
                return "laid"
        return "none"

    def _commit(self, walked: Walked) -> None:
        self.corner[walked.corners] = walked.others

    def part(self) -> Disagreement | None:
        """The first difference of the two meshes, after a `run` that was not complete; None where none is found.

        Every piece is matched as far as it agrees, from the seed with the largest agreement (once the largest piece is
        matched, from the nearest of the seeds that agree by half). The result is the first difference of the largest
        piece that has any, because a fault is small compared with the sound part.
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
        """Match the vertices of no polygon: by position where it is known, else in order."""
        mine = np.flatnonzero(self.walk.vertex < 0).astype(np.int32)
        other = np.flatnonzero(self.walk.from_vertex < 0).astype(np.int32)
        if len(mine) != len(other):
            return False
        if len(mine) and self._placed.known:
            other = self._placed.paired(mine, other)
        self.walk.vertex[mine], self.walk.from_vertex[other] = other, mine
        return True

    def _whole(self) -> bool:
        """Whether all is matched: each corner with one at the matched vertex, corners across edges alike."""
        corner = self.corner
        if (corner < 0).any() or (self.walk.from_polygon < 0).any():
            return False
        good = self.walk.vertex[self.a.vertex] == self.b.vertex[corner]
        across = self.b.twin[corner]
        open_ = self.a.twin < 0
        good &= np.where(open_, across == self.a.twin, corner[self.a.twin] == across)
        return bool(good.all())
