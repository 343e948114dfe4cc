"""Walking two meshes side by side, polygon by polygon, from one corner of each.

Once one corner of a mesh is matched to one corner of another, the rest of that piece follows: the next corner matches
the next, the corner across an edge matches the corner across. The walk goes out from the seed in rings, one ring at a
time in arrays, and stops at the first ring in which the meshes differ. The difference is described in words.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from composer.geometry.half_edges import BORDER, CROWDED, TURNED, HalfEdges

Ints = NDArray[np.int32]
SAID = {BORDER: "an open border", TURNED: "a polygon turned over against it", CROWDED: "more than two polygons"}


@dataclass(frozen=True)
class Disagreement:
    """A difference of two meshes: a polygon of the reference, the polygon that should match it, and the words.

    `walked` is the number of polygons that agreed before.
    """

    polygon: int
    other_polygon: int
    words: str
    walked: int


@dataclass(frozen=True, eq=False)
class Walked:
    """Matched corners: `corners` (m,) of the reference and `others` (m,), and the number of polygons.

    `stopped` is the first disagreement, None where there was none; `agreed` the polygons without any.
    """

    corners: Ints
    others: Ints
    polygons: int
    stopped: Disagreement | None
    agreed: int


class Walk:
    """The match of `reference` and `other` so far, -1 where there is none yet; it grows piece by piece.

    `vertex` (n,) and `polygon` (f,) of the reference to the other's; `from_vertex`, `from_polygon` the other way.
    """

    def __init__(self, reference: HalfEdges, other: HalfEdges) -> None:
        """Take the two meshes."""
        self.reference, self.other = reference, other
        self.vertex = np.full(reference.polygons.n_vertices, -1, dtype=np.int32)
        self.from_vertex = np.full(other.polygons.n_vertices, -1, dtype=np.int32)
        self.polygon = np.full(reference.polygons.n_faces, -1, dtype=np.int32)
        self.from_polygon = np.full(other.polygons.n_faces, -1, dtype=np.int32)
        self._slot = np.zeros(reference.polygons.n_faces, dtype=np.int32)
        self._new_vertices: list[tuple[Ints, Ints]] = []

    @property
    def laid_any(self) -> bool:
        """Whether anything is matched yet."""
        return bool((self.vertex >= 0).any())

    def take(self, corners: Ints, others: Ints) -> None:
        """Match corners (m,) of the reference, and their polygons, to `others` (m,), which are known to agree."""
        mine, theirs = self.reference, self.other
        self.vertex[mine.vertex[corners]], self.from_vertex[theirs.vertex[others]] = (
            theirs.vertex[others], mine.vertex[corners])  # fmt: skip
        self.polygon[mine.face[corners]], self.from_polygon[theirs.face[others]] = (
            theirs.face[others], mine.face[corners])  # fmt: skip

    def run(
        self, corner: int, other: int, most: int | None = None, keep: bool = True, tolerant: bool = False
    ) -> Walked:  # fmt: skip
        """Match `corner` of the reference to the corner `other` and walk the piece, at most about `most` polygons.

        A walk that ends in a difference is undone, and so is any walk with `keep` False. A `tolerant` one goes around
        differences and matches all that agrees.
        """
        ring = _Ring(np.array([corner], dtype=np.int32), np.array([other], dtype=np.int32))
        corners: list[Ints] = []
        others: list[Ints] = []
        laid: list[tuple[Ints, Ints]] = []
        self._new_vertices = []
        first, walked, agreed = None, 0, 0
        while len(ring.here) and (most is None or walked < most):
            face, on = self.reference.face[ring.here], self.other.face[ring.there]
            self.polygon[face], self.from_polygon[on] = on, face
            laid.append((face, on))
            following = self._lay(ring, corners, others, walked)
            first = first or ring.first
            if first is not None and not tolerant:
                break
            walked += len(face)
            agreed += len(face) - len(ring.parted)
            ring = following
        if (first is not None and not tolerant) or not keep:
            self._forget(laid)
        return Walked(_joined(corners), _joined(others), walked, first, agreed)

    def _lay(self, ring: _Ring, corners: list[Ints], others: list[Ints], walked: int) -> _Ring:
        """Match one ring of polygons, given by a corner of each, and record differences. Returns the next ring."""
        a, b = self.reference, self.other
        size = a.polygons.counts[a.face[ring.here]]
        wrong = size != b.polygons.counts[b.face[ring.there]]
        if wrong.any():
            self._note(ring, ring.here[wrong], ring.there[wrong], walked, self._sizes)
            ring.here, ring.there, size = ring.here[~wrong], ring.there[~wrong], size[~wrong]
        inner, outer = ring.here, ring.there
        all_here, all_there = [inner], [outer]
        for step in range(1, int(size.max(initial=0))):
            if step >= 3:
                more = size > step
                inner, outer, size = inner[more], outer[more], size[more]
            inner, outer = a.following[inner], b.following[outer]
            all_here.append(inner)
            all_there.append(outer)
        mine, other = np.concatenate(all_here), np.concatenate(all_there)
        corners.append(mine)
        others.append(other)
        good = self._lay_vertices(ring, mine, other, walked)
        ta, tb = a.twin[mine], b.twin[other]
        unlike = ((ta < 0) | (tb < 0)) & (ta != tb) & good
        if unlike.any():
            self._note(ring, mine[unlike], other[unlike], walked, self._edges)
        return self._next_ring(ta, tb, good & ~unlike)

    def _lay_vertices(self, ring: _Ring, mine: Ints, other: Ints, walked: int) -> NDArray[np.bool_]:
        """Match the vertices of corners. Returns for each whether its polygon agrees with the match so far."""
        a, b = self.reference, self.other
        va, vb = a.vertex[mine], b.vertex[other]
        new = (self.vertex[va] < 0) & (self.from_vertex[vb] < 0)
        self.vertex[va[new]], self.from_vertex[vb[new]] = vb[new], va[new]
        self._new_vertices.append((va[new], vb[new]))
        wrong = (self.vertex[va] != vb) | (self.from_vertex[vb] != va)
        if not wrong.any():
            return ~wrong
        self._note(ring, mine[wrong], other[wrong], walked, self._vertices)
        return ~np.isin(a.face[mine], a.face[mine[wrong]])

    def _next_ring(self, ta: Ints, tb: Ints, good: NDArray[np.bool_]) -> _Ring:
        """The corners across edges that lead into unmatched polygons, one a polygon."""
        across = (ta >= 0) & good
        ta, tb = ta[across], tb[across]
        face = self.reference.face[ta]
        fresh = (self.polygon[face] < 0) & (self.from_polygon[self.other.face[tb]] < 0)
        ta, tb, face = ta[fresh], tb[fresh], face[fresh]
        number = np.arange(len(face), dtype=np.int32)
        self._slot[face] = number
        one = self._slot[face] == number
        return _Ring(ta[one], tb[one])

    def _note(self, ring: _Ring, here: Ints, there: Ints, walked: int, words: Callable[[int, int], str]) -> None:
        """Record the ring's first difference, by the lowest polygon of the reference, and all polygons that differ."""
        a, b = self.reference, self.other
        ring.parted |= set(a.face[here].tolist())
        if ring.first is None:
            i = int(np.argmin(a.face[here]))
            mine, other = int(here[i]), int(there[i])
            ring.first = Disagreement(int(a.face[mine]), int(b.face[other]), words(mine, other), walked)

    def _sizes(self, mine: int, other: int) -> str:
        a, b = self.reference, self.other
        ours, theirs = a.polygons.counts[a.face[mine]], b.polygons.counts[b.face[other]]
        return f"{ours} corners where the other has {theirs}"

    def _vertices(self, mine: int, other: int) -> str:
        vertex, wrong = int(self.reference.vertex[mine]), int(self.other.vertex[other])
        return f"vertex {vertex} where the other has vertex {wrong}, another one by the polygons before"

    def _edges(self, mine: int, other: int) -> str:
        a, b = self.reference, self.other
        ends = f"{a.vertex[mine]}-{a.vertex[a.following[mine]]}"
        ours, theirs = (SAID.get(int(twin), "a polygon that fits") for twin in (a.twin[mine], b.twin[other]))
        return f"{ours} across its edge {ends} where the other has {theirs}"

    def _forget(self, polygons: list[tuple[Ints, Ints]]) -> None:
        for mine, other in polygons:
            self.polygon[mine], self.from_polygon[other] = -1, -1
        for mine, other in self._new_vertices:
            self.vertex[mine], self.from_vertex[other] = -1, -1


@dataclass(eq=False)
class _Ring:
    """A corner of each polygon of a ring, its match in the other mesh, and the differences."""

    here: Ints
    there: Ints
    first: Disagreement | None = None
    parted: set[int] = field(default_factory=set)


def _joined(pieces: list[Ints]) -> Ints:
    return np.concatenate(pieces) if pieces else np.zeros(0, dtype=np.int32)

