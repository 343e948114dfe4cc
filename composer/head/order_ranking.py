"""Which of several ways of laying a piece is meant: landmarks tell, or texture coordinates, or form, or place.

Form is how well a piece lies on the other after it has been moved, turned and scaled as well as can be; place is how
well it lies as the meshes stand. Where nothing of the mesh is laid yet, the meshes may stand in any pose, so that place
is worth less than form: a way that place alone would choose is not taken where another has half its residual.
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
"""The best way's error may be this share of the second's: then it is clear which is meant. More will do where the
same way is the best by its place and by its form. Both were set on heads by code and on an open library."""
ALIKE = 1e-6
"""Of the head's size: forms that differ by less are the same form (a file's rounding)."""
UV_SAME = 1e-3
"""Texture coordinates as far apart as this are not the same ones (a texel of 1,024)."""


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
    tolerant: bool = False
    """Go round what does not agree from `start`, and pass over pieces that fit nowhere: lay what can be laid."""


@dataclass(frozen=True, eq=False)
class Way:
    """A corner of the reference, the other's corner on which it is laid, and what was walked from there."""

    corner: int
    other: int
    patch: Walked


class Ranking:
    """What is known of two meshes, asked which way of laying a piece is meant."""

    def __init__(self, a: HalfEdges, b: HalfEdges, evidence: Evidence, placed: Placing) -> None:
        """Take the reference, the other mesh, what is known of both, and where they are."""
        self.a, self.b, self.evidence, self._placed = a, b, evidence, placed

    def ranked(self, ways: list[Way], sure: bool) -> tuple[str, list[Way]] | None:
        """The ways, the best first, and what told them apart, "uv" or "geometry"; None where nothing does.

        Not `sure`, only texture coordinates are asked.
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

    def of_one_texture(self, corner: int, others: Ints) -> Ints:
        """Those of the corners that have the texture coordinates of `corner`."""
        mine, other = self.evidence.uv, self.evidence.other_uv
        if mine is None or other is None or mine.indices[corner] < 0:
            return others[:0]
        index = other.indices[others]
        off = np.abs(other.uv[index] - mine.uv[mine.indices[corner]]).max(axis=1, initial=0.0)
        return others[(index >= 0) & (off < UV_SAME)]

    def keeps_marks(self, patch: Walked) -> bool:
        """Whether what was walked lays every landmark in it on its own."""
        marks = self.evidence.landmarks
        if marks is None:
            return True
        wanted = dict(np.asarray(marks, dtype=np.int64).tolist())
        at = np.flatnonzero(np.isin(self.a.vertex[patch.corners], list(wanted)))
        mine, other = self.a.vertex[patch.corners[at]], self.b.vertex[patch.others[at]]
        return all(wanted[int(m)] == int(o) for m, o in zip(mine, other, strict=True))


def _clear(errors: list[float], ways: list[Way]) -> list[Way] | None:
    """The ways, the best first, where one of them is clearly the best."""
    order = sorted(range(len(ways)), key=lambda i: errors[i])
    if len(ways) > 1:
        best, second = errors[order[0]], errors[order[1]]
        if not np.isfinite(second) or best >= CLEARLY * second or second <= 1e-9:
            return None
    return [ways[i] for i in order]


def _agreed(placed: list[float], own: list[float], ways: list[Way]) -> list[Way] | None:
    """The ways by their places, where the best by place is the best by form and each a good deal better."""
    best = int(np.argmin(placed))
    if best != int(np.argmin(own)) or any(e[best] >= BY_BOTH * np.partition(e, 1)[1] for e in (placed, own)):
        return None
    return [ways[i] for i in np.argsort(placed, kind="stable")]
