"""Standing aside: where a carried shape makes polygons of the skin cross that do not cross when the old displacement
is simply laid on the new head, that displacement is taken there, smoothly.

Ways of carrying and contact both mean well and can run skin into itself, in a nostril, at the corner of an eye or
between lips that overlap. The plain displacement is the artist's own; it crosses where the library does or the new
head is narrow. So at a few places it is the better answer.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.self_crossing import SelfCrossing
from composer.geometry.surface import Surface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
ROUNDS, PART = 6, 0.2
"""Rounds, in each of which this part more is given up about what still crosses; the one with the fewest crossing
polygons is kept (our choice: five of them reach the plain displacement)."""
REACH = 0.01
"""Of the head's size: what lies nearer than this to a crossing is given up in part, 3 mm on an adult."""
STEEP = 1.5
"""Times what is given up: it fades over at least this far, so that no triangle turns over at the rim (a smoothstep's
slope is at most 1.5 / reach, and a fold needs a slope of 1)."""
SAME = 1e-6
"""Of the head's size: displacements that differ by less are the same, 0.0003 mm."""


class StandAside:
    """What finds and gives up crossings on one new skin of s vertices, and the head's size."""

    def __init__(self, skin: Surface, size_mm: float) -> None:
        self._rest, self._size = skin.positions, size_mm
        self._test = SelfCrossing(skin.polygons)
        self._every = np.arange(len(self._test.triangles))

    def __call__(self, ours: Floats, plain: Floats, as_good: Callable[[Floats], bool]) -> Floats:
        """(s, 3) mm, the displacement `ours` (s, 3) with what crosses given up for `plain` (s, 3), until no more
        polygons cross than with that. A displacement that is not `as_good` as ours otherwise is not taken."""
        apart = np.linalg.norm(ours - plain, axis=1)
        triangles, test = self._test.triangles, self._test
        moved = np.asarray((apart > SAME * self._size)[triangles].any(axis=1))
        if not moved.any():
            return ours
        known, first = self._crossing(plain, moved), self._crossing(ours, moved)
        allowed, fewest = test.count(known), test.count(first)
        given = np.zeros(len(ours))
        kept, pairs = ours, first
        for _ in range(ROUNDS):
            if test.count(pairs) <= allowed:
                break
            given = np.minimum(given + PART * self._about(test.without(pairs, known), apart), 1.0)
            now = ours + given[:, None] * (plain - ours)
            changed = np.asarray((given > 0.0)[triangles].any(axis=1))
            still = first[~changed[first].any(axis=1)]
            pairs = np.concatenate([still, self._crossing(now, changed)])
            faces = test.count(pairs)
            if faces < fewest and as_good(now):
                fewest, kept = faces, now
        return kept

    def _about(self, pairs: Ints, apart: Floats) -> Floats:
        """(s,) where is to be given up about the triangles that cross: 1 at them, 0 beyond the reach."""
        at = np.unique(self._test.triangles[pairs])
        reach = max(REACH * self._size, STEEP * float(apart[at].max(initial=0.0)))
        away = cKDTree(self._rest[at]).query(self._rest, distance_upper_bound=reach)[0]
        share = np.clip(1.0 - away / reach, 0.0, 1.0)  # beyond the reach the query gives infinity
        inside = np.minimum(2.0 * share, 1.0)
        return inside * inside * (3.0 - 2.0 * inside)

    def _crossing(self, displacement: Floats, moved: Flags) -> Ints:
        """(p, 2) the pairs of triangles that cross, of which at least one is flagged in `moved` (t,)."""
        return self._test.pairs_of(self._rest + displacement, moved, self._every)
