"""Choosing among several matches of a piece: by landmarks, texture coordinates, form or place.

Form is the distance of a piece from its match after the best similarity; place is the distance without it. As long as
nothing is matched, the meshes may be in any pose, so form counts more than place: a match chosen by place alone is
refused where another one has half its residual.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.half_edges import HalfEdges
from composer.head.head import TextureCoordinates
from composer.head.order_placing import Placing
from composer.head.order_walk import Walked

Ints = NDArray[np.int32]
CLEARLY, BY_BOTH = 0.5, 0.85
"""A match is clear if its error is at most CLEARLY times that of the second best, or at most BY_BOTH times where it is
best by place and by form. Both were chosen on heads made by code and on an open library.
"""
ALIKE = 1e-6
"""Forms that differ by less than this fraction of the head's diagonal are equal: rounding of files."""
UV_SAME = 1e-3
"""Texture coordinates further apart than this differ: a texel in 1,024."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """What decides where connectivity does not: positions (n, 3), texture coordinates, landmarks (m, 2)."""

    positions: NDArray | None = None
    other_positions: NDArray | None = None
    uv: TextureCoordinates | None = None
    other_uv: TextureCoordinates | None = None
    landmarks: NDArray | None = None
    start: tuple[int, int] | None = None
    """A corner of the reference and its match in the other mesh, if known in advance."""
    laid: tuple[Ints, Ints] | None = None
    """Corners (m,) of whole pieces of the reference, and their matches in the other mesh, known in advance."""
    tolerant: bool = False
    """Go around differences from `start`, and skip pieces that fit nowhere: match as much as possible."""


@dataclass(frozen=True, eq=False)
class Way:
    """A possible match: a corner of the reference, a corner of the other mesh, and the walk from there."""

    corner: int
    other: int
    patch: Walked


class Ranking:
    """The evidence on two meshes, for choosing among matches of a piece."""

    def __init__(self, a: HalfEdges, b: HalfEdges, evidence: Evidence, placed: Placing) -> None:
        """Take the reference, the other mesh, the evidence on both, and their positions."""
        self.a, self.b, self.evidence, self._placed = a, b, evidence, placed

    def ranked(self, ways: list[Way], sure: bool) -> tuple[str, list[Way]] | None:
        """The ways, best first, and what decided, "uv" or "geometry"; None where nothing decides.

        Unless `sure`, only texture coordinates decide.
        """
        found = _clear([self._uv_error(way.patch) for way in ways], ways)
        if found is not None and self._uv_error(found[0].patch) < UV_SAME:
            return "uv", found
        if not sure or not self._placed.known:
            return None
        placed = [self._placed.error(way.patch) for way in ways]
        own = [self._placed.own_error(way.patch) for way in ways]
        by_place = _clear(placed, ways)
        if by_place is not None and not self._placed.learnt:
            chosen = own[next(i for i, way in enumerate(ways) if way is by_place[0])]
            by_place = by_place if min(own) + ALIKE >= CLEARLY * chosen else None
        found = by_place or _clear(own, ways) or _agreed(placed, own, ways)
        if found is None:  # equal in form: the one turned like the head
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

    def of_one_texture(self, corner: int, others: Ints) -> Ints:
        """The corners among `others` with the texture coordinates of `corner`."""
        mine, other = self.evidence.uv, self.evidence.other_uv
        if mine is None or other is None or mine.indices[corner] < 0:
            return others[:0]
        index = other.indices[others]
        off = np.abs(other.uv[index] - mine.uv[mine.indices[corner]]).max(axis=1, initial=0.0)
        return others[(index >= 0) & (off < UV_SAME)]

    def agreeing(self, corners: Ints, others: Ints) -> NDArray[np.bool_]:
        """(m,) whether the pieces of corners (m,) keep landmarks and texture coordinates, matched to `others` (m,)."""
        good = np.ones(len(corners), dtype=bool)
        mine, other = self.evidence.uv, self.evidence.other_uv
        if mine is not None and other is not None:
            a, b = mine.indices[corners], other.indices[others]
            good &= (a >= 0) == (b >= 0)
            both = (a >= 0) & (b >= 0)
            good[both] &= np.abs(mine.uv[a[both]] - other.uv[b[both]]).max(axis=1) < UV_SAME
        if self.evidence.landmarks is not None:
            marked, wanted = np.asarray(self.evidence.landmarks, dtype=np.int64).T
            pair = np.full(self.a.polygons.n_vertices, -1, dtype=np.int64)
            pair[marked] = wanted
            at = pair[self.a.vertex[corners]]
            good &= (at < 0) | (at == self.b.vertex[others])
        piece = self.a.pieces[self.a.face[corners]]
        bad = np.zeros(int(piece.max(initial=-1)) + 1, dtype=bool)
        bad[piece[~good]] = True
        return ~bad[piece]

    def keeps_marks(self, patch: Walked) -> bool:
        """Whether a walk maps every landmark in it to its pair."""
        marks = self.evidence.landmarks
        if marks is None:
            return True
        wanted = dict(np.asarray(marks, dtype=np.int64).tolist())
        at = np.flatnonzero(np.isin(self.a.vertex[patch.corners], list(wanted)))
        mine, other = self.a.vertex[patch.corners[at]], self.b.vertex[patch.others[at]]
        return all(wanted[int(m)] == int(o) for m, o in zip(mine, other, strict=True))


def _clear(errors: list[float], ways: list[Way]) -> list[Way] | None:
    """The ways, best first, if one of them is clearly the best; else None."""
    order = sorted(range(len(ways)), key=lambda i: errors[i])
    if len(ways) > 1:
        best, second = errors[order[0]], errors[order[1]]
        if not np.isfinite(second) or best >= CLEARLY * second or second <= 1e-9:
            return None
    return [ways[i] for i in order]


def _agreed(placed: list[float], own: list[float], ways: list[Way]) -> list[Way] | None:
    """The ways by place, if the best by place is the best by form and both are better by `BY_BOTH`; else None."""
    best = int(np.argmin(placed))
    if best != int(np.argmin(own)) or any(e[best] >= BY_BOTH * np.partition(e, 1)[1] for e in (placed, own)):
        return None
    return [ways[i] for i in np.argsort(placed, kind="stable")]
