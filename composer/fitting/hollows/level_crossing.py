"""Polygons of a finer level of the skin that cross others, by place, for a report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.places import counted_by_place
from composer.fitting.project import ProjectedLevel
from composer.geometry.part import chosen_polygons
from composer.geometry.polygons import Polygons
from composer.geometry.self_crossing import SelfCrossing
from composer.head.head import Head
from composer.head.landmarks import Landmarks

Rows = NDArray[np.float64]


@dataclass(frozen=True)
class LevelCrossing:
    """Polygons of a level that cross others, by place: `crossing` of the result, `crossing_library` of the library's
    neutral, subdivided; empty where nothing of the result crosses, as there is nothing to hold beside it."""

    crossing: dict[str, int]
    crossing_library: dict[str, int]


class SkinLevel:
    """The skin's polygons of a head at level `k` from 1 on, whose `polygons` are the head's, subdivided k times."""

    def __init__(self, head: Head, marks: Landmarks, k: int, polygons: Polygons) -> None:
        cage, known = head.polygons, LibrarySkin.of(head)
        own = np.logical_and.reduceat(head.skin[cage.indices], cage.starts[:-1])
        finer = np.repeat(own[cage.corner_face], 4 ** (k - 1))  # a quad's four come one after the other
        self._cage_face = cage.corner_face
        self._number = np.cumsum(own) - 1
        self._first = np.flatnonzero(finer)
        self._step = 2 * (k - 1)
        self._names = known.place_names(head, marks)
        self._finer = finer
        self._polygons = polygons

    def counts(self, positions: NDArray) -> dict[str, int]:
        """By place, how many polygons cross others at `positions` (n_k, 3) mm of all the level's vertices."""
        return self._by_place(self._test.crossing_faces(np.asarray(positions, dtype=np.float64)))

    @cached_property
    def _test(self) -> SelfCrossing:
        return SelfCrossing(chosen_polygons(self._polygons, self._finer))

    def counts_of(self, level: ProjectedLevel) -> dict[str, int]:
        """The same of a projected level, which mostly knows it."""
        known = level.crossing_of(self._finer)
        return self.counts(level.positions) if known is None else self._by_place(known)

    def _by_place(self, crosses: NDArray[np.bool_]) -> dict[str, int]:
        crossing = np.flatnonzero(crosses)
        of_cage = self._number[self._cage_face[self._first[crossing] >> self._step]]
        names = self._names[of_cage]
        return counted_by_place(names, np.ones(len(names), dtype=bool))


def level_crossings(head: Head, marks: Landmarks, levels: Sequence[ProjectedLevel]) -> dict[int, LevelCrossing]:
    """By level, from 1 on, what crosses on the projected `levels` of a fitted head, 0 first, and, where something
    does, on the library's neutral at the same level; `marks` are landmarks on the neutral."""
    found = {}
    for level in levels[1:]:
        skin = SkinLevel(head, marks, level.k, level.polygons)
        own = skin.counts_of(level)
        found[level.k] = LevelCrossing(own, skin.counts(level.reference) if any(own.values()) else {})
    return found
