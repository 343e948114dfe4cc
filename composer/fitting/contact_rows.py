"""What a carried pose lacks at one meeting of lips or lids: the gaps that the old head has in it, and the heights
above the eyeball.

In each pose every vertex of a lip or a lid is paired with the place of the other one that it looks at on the old
head. There the new head is to have the old head's gap, turned and scaled as the heads lie. A pair that keeps its gap
keeps what the two heads differ by at rest; one that closes or opens loses that. A pair counts by how near the old one
is to touching, and not at all where the heads differ at rest by more than the carried shape can be asked to mend.

A vertex near the eyeball that moves is to have its old height above it; what the heads differ by at rest fades as it
moves along. Lengths are shares of the lines' length, or edges of the lines, whichever is longer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.contact.across import Across, across
from composer.contact.ball_height import BallHeight
from composer.contact.patch import Patch
from composer.contact.solve import LineRows, PairRows
from composer.fitting.carry_parts import CarriedParts, RigidPiece
from composer.geometry.rigid import Similarity
from masks.soften import smoothstep

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
TOUCH = (0.036, 0.075)
"""Of a line's length: gaps of the old head up to which a pair counts fully, and from which it does not count. Lids
1.2 and 2.5 mm, lips 1.9 and 3.9 mm."""
TOUCH_EDGES = (0.5, 1.0)
"""The same in edges of the lines: a coarse head's lids close to within half an edge, not to nothing."""
CLOSES = (0.2, 0.6)
"""A pair that is open at rest counts by the share of its gap that has closed: not at all, and fully."""
DIFFER = (0.75, 1.25)
"""Of the old gap at rest and a tenth of the line's length together: a new gap at rest that differs by less counts
fully, by more not at all."""
SLIDES = (0.07, 0.2)
"""Of a line's length: what the heads differ by in height above the ball at rest is kept by a lid that moves less than
the first, and gone where it has moved the second. 2.5 and 7 mm: a lid narrowed, and shut."""
LOW = (0.06, 0.12)
"""Of a line's length: heights above the ball up to which a vertex slides wholly, and not at all. 2 and 4 mm."""
MOVES = 0.03
"""Of a line's length: a vertex that has moved so far slides wholly; one that has not moved stays."""
LIDS_AWAY = 2.0
"""Radii of an eyeball: lids whose middle lies further from its centre are another's (our choice: the cornea is at one,
the other eye at five)."""
NEARLY = 0.01
"""Of a line's length: what is so far from being too deep is watched while others are pushed out."""


@dataclass(frozen=True, eq=False)
class WantedGaps:
    """The gaps (p, 3) mm that the new head is to have `across`, how much each counts (p,), which of them `close`
    (p,), and the old head's own (p,) mm, at the new one's size."""

    across: Across
    gaps: Floats
    counts: Floats
    close: NDArray[np.bool_]
    own_mm: Floats

    def lacking(self, pose: NDArray) -> PairRows:
        """What the new head's patch at `pose` (m, 3) lacks."""
        return PairRows(self.across, self.gaps - self.across.gaps(pose), self.counts)


class PairedSides:
    """The two sides of a meeting on both heads, patches at rest `old` and `new` (m, 3) mm."""

    def __init__(self, patch: Patch, old: Floats, new: Floats, likeness: Similarity) -> None:
        self.patch, self._old, self._new, self._likeness = patch, old, new, likeness
        self.near_mm, self.far_mm = (
            max(share * patch.length_mm, edges * patch.edge_mm)
            for share, edges in zip(TOUCH, TOUCH_EDGES, strict=True)
        )  # fmt: skip

    def wanted(self, pose: NDArray) -> WantedGaps | None:
        """What the new head is to have where the old head's patch is at `pose` (m, 3); None where nothing is near."""
        one, other = self.patch.sides
        if not len(one) or not len(other):
            return None
        found = [self._side(pose, one, other), self._side(pose, other, one)]
        places = [each.across for each in found]
        place = Across(*(np.concatenate([getattr(p, key) for p in places]) for key in ("vertices", "corners", "share")))
        rest = (np.concatenate([getattr(f, key) for f in found]) for key in ("gaps", "counts", "close", "own_mm"))
        return WantedGaps(place, *rest) if len(place.vertices) else None

    def _side(self, pose: NDArray, side: Ints, other: Ints) -> WantedGaps:
        place = across(pose, side, other)
        gap, rest, new = place.gaps(pose), place.gaps(self._old), place.gaps(self._new)
        long, wide = (np.linalg.norm(each, axis=1) for each in (gap, rest))
        scale = self._likeness.scale
        differ = np.abs(np.linalg.norm(new, axis=1) / scale - wide) / (wide + 0.1 * self.patch.length_mm)
        near = smoothstep((self.far_mm - long) / (self.far_mm - self.near_mm))
        closed = (wide - long) / np.maximum(wide, np.finfo(float).tiny)
        shut = smoothstep((closed - CLOSES[0]) / (CLOSES[1] - CLOSES[0]))
        met = smoothstep((self.far_mm - wide) / (self.far_mm - self.near_mm))
        counts = near * np.maximum(shut, met) * smoothstep((DIFFER[1] - differ) / (DIFFER[1] - DIFFER[0]))
        slid = np.linalg.norm(gap - rest, axis=1) / self.near_mm
        kept = (met * (1.0 - shut) * smoothstep(1.0 - slid))[:, None] * (new - self._likeness.vectors(rest))
        on = np.flatnonzero(counts > 0.01)
        return WantedGaps(
            Across(place.vertices[on], place.corners[on], place.share[on]),
            (self._likeness.vectors(gap) + kept)[on], counts[on], (shut > 0.5)[on], scale * long[on],
        )  # fmt: skip


class SlidingLids:
    """The skin of a patch near an eyeball, on both heads: what slides on it."""

    def __init__(self, patch: Patch, piece: RigidPiece, old: Floats, new: Floats, scale: float) -> None:
        self.piece, self._scale, self._patch, self.length_mm = piece, scale, patch, scale * patch.length_mm
        self._over, self._over_new = BallHeight(piece.old), BallHeight(piece.new)
        height = self._over(old - piece.old_centre)
        self.vertices = np.flatnonzero(height < 1.5 * LOW[1] * patch.length_mm)
        self._rest = height[self.vertices]
        self._rest_new = self._over_new(new[self.vertices] - piece.new_centre)
        self._old = old[self.vertices]

    def wanted(self, pose: NDArray, delta: NDArray, motion: tuple[Floats, Floats]) -> WantedHeights:
        """What the new head is to have where the old patch is at `pose` (m, 3) by the old head's displacement `delta`
        (n, 3), and the new ball turns and goes by `motion`."""
        at = pose[self.vertices]
        turn, way = self.piece.motion(delta)
        height = self._over((at - self.piece.old_centre - way) @ turn)
        length = self._patch.length_mm
        moved = np.linalg.norm(at - self._old, axis=1)
        counts = smoothstep((LOW[1] * length - height) / ((LOW[1] - LOW[0]) * length))
        counts *= smoothstep(moved / (MOVES * length))
        differ = self._rest_new - self._scale * self._rest
        kept = smoothstep((SLIDES[1] - moved / length) / (SLIDES[1] - SLIDES[0])) * differ
        least = np.minimum(np.minimum(self._scale * height, self._rest_new), 0.0)
        on = np.flatnonzero(counts > 0.01)
        return WantedHeights(
            self, self.vertices[on], (self._scale * height + kept)[on], counts[on], least[on], motion
        )  # fmt: skip

    def now(self, vertices: Ints, pose: NDArray, motion: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
        """Heights (k,) mm of `vertices` of the new patch at `pose` (m, 3) above its ball, and outwards (k, 3)."""
        arm = pose[vertices] - self.piece.new_centre - motion[1]
        out = arm / np.maximum(np.linalg.norm(arm, axis=1), np.finfo(float).tiny)[:, None]
        return self._over_new(arm @ motion[0]), out


@dataclass(frozen=True, eq=False)
class WantedHeights:
    """Heights (k,) mm above the new ball that the patch's `vertices` are to have, how much each counts (k,), and the
    `least` (k,) that is no deeper than the old head, or the new one at rest, lies in its ball."""

    lids: SlidingLids
    vertices: Ints
    heights: Floats
    counts: Floats
    least: Floats
    motion: tuple[Floats, Floats]

    def lacking(self, pose: NDArray) -> LineRows:
        """What the new patch at `pose` (m, 3) lacks in height."""
        now, out = self.lids.now(self.vertices, pose, self.motion)
        return LineRows(self.vertices, None, out, self.heights - now, self.counts)

    def inside(self, pose: NDArray) -> LineRows:
        """What it lacks where it lies deeper in the ball than it may, or nearly so."""
        now, out = self.lids.now(self.vertices, pose, self.motion)
        lack = self.least - now
        on = np.flatnonzero(lack > -NEARLY * self.lids.length_mm)
        return LineRows(self.vertices[on], None, out[on], lack[on], np.ones(len(on)))


def ball_of(parts: CarriedParts, lids: NDArray) -> RigidPiece | None:
    """The eyeball that `lids` (k, 3) mm of the old head lie about, at most LIDS_AWAY of its radii from its centre."""
    found, nearest = None, LIDS_AWAY
    for piece in parts.rigid:
        if piece.is_eyeball:
            radius = float(np.median(np.linalg.norm(piece.old, axis=1)))
            away = float(np.linalg.norm(lids.mean(axis=0) - piece.old_centre)) / max(radius, np.finfo(float).tiny)
            if away < nearest:
                found, nearest = piece, away
    return found
