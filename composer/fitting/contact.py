"""Contact after carrying: where the old head's lips or lids touch in a shape, the new head's touch, and lids slide on
its eyeballs as they do on the old one's.

Each meeting of lips or lids (`composer.contact.lines`) has a patch of skin that answers smoothly to pushes. For a
shape, what the carried pose lacks there (`fitting.contact_rows`) is met by the smallest smooth correction, in a few
rounds of which the best is kept (after Li, Weise and Pauly, Example-based facial rigging, 2010, and Saito, Smooth
contact-aware facial blendshapes transfer, DIGIPRO 2013, for the idea of carried pairs). A correction has a ceiling, and
nowhere may the skin move further than some times what it moves without. What is held back is told.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.contact.crossing import parting_rows
from composer.contact.depth import crossing_depth
from composer.contact.lines import Meeting, meetings
from composer.contact.patch import Patch
from composer.contact.solve import PairRows, least_field, shortened
from composer.fitting.carry_parts import CarriedParts
from composer.fitting.contact_rows import PairedSides, SlidingLids, WantedGaps, WantedHeights, ball_of
from composer.fitting.met import Closing, Met
from composer.fitting.stand_aside import StandAside
from composer.geometry.rigid import Similarity
from composer.geometry.self_crossing import SelfCrossing
from composer.geometry.surface import Surface
from composer.head.head import Head

Floats = NDArray[np.float64]
ROUNDS = 3
"""Rounds in which gaps and heights are met; the one that lacks least is kept."""
FURTHEST = 1.5
"""Nothing moves further than this many times as far as the plain transfer moves the skin beside it."""
BESIDE = 24
"""Vertices that count as beside one, for that."""
PARTINGS = 6
"""Rounds in which triangles that cross are parted; the one with the fewest is kept."""
PARTING = 0.005
"""Of the lines' length: how far a corner is pushed out in one of them at most, 0.2 mm. Twice as much opens pressed lips
by 0.4 mm on one head."""
LOOSE = 10.0
"""How many times less gaps count meanwhile: with 250 pressed lips open by 0.5 mm, with nothing that holds them lids
do too; with 1 nothing parts."""
DEEPER, DEEPEST = 0.002, 0.12
"""Of the lines' length: by how much deeper lips may cross than on the old head, or than they do at rest, 0.1 mm; and
how far a corner can lie behind the other lip, 6 mm."""
A_FACE = 2e-4
"""Of the lines' length: such a depth beyond that is as bad as one crossing triangle more, 0.01 mm."""
NO_VERTICES = np.zeros(0, dtype=np.int64)
EXACT = 0.002
"""Of the lines' length: a gap of the old head below this (0.07 mm) is a touch, at which triangles cross and part by
rounding; it is not parted."""
CEILING = 0.2
"""Of the lines' length: the longest correction. Lids 7 mm, lips 10 mm on an adult. With 0.15 the lids of one head in
twelve of a real library stay 0.4 mm further open than the library's own."""
ENOUGH = 3e-4
"""Of the lines' length: rounds end where no row lacks more than this."""


class Contact:
    """What keeps contact on a new head; made once, called with every shape."""

    def __init__(
        self, head: Head, source: Surface, target: Surface, likeness: Similarity, parts: CarriedParts,
        still: NDArray[np.bool_], size_mm: float,
    ) -> None:  # fmt: skip
        """Take the old head, the skins of both heads (the same polygons), what lays and carries them, what of the skin
        (s,) is `still` in all shapes and stays so, and the new head's size."""
        skin = np.flatnonzero(head.skin)
        number = np.full(head.n_vertices, -1, dtype=np.int64)
        number[skin] = np.arange(len(skin))
        self._skin, self._source = skin, source
        self._aside = StandAside(target, size_mm)
        self._places = [_Place(each, source, target, likeness, parts, still) for each in meetings(head, number)]

    def __call__(self, delta: NDArray, carried: NDArray, laid: NDArray) -> tuple[Floats, list[Met]]:
        """The skin's `carried` displacement (s, 3) mm corrected, for a displacement (n, 3) mm of the old head, and how
        each meeting closes that does. `laid` (s, 3) is the old displacement simply laid on the new head."""
        own = delta[self._skin]
        touched = np.array(carried)
        if not own.any():
            return touched, []
        pose = self._source.positions + own
        closing: list[Closing] = []
        deep: list[tuple[_Place, float]] = []
        for place in self._places:
            closes, may_mm = place.correct(pose, delta, touched)
            closing += closes
            deep.append((place, max(may_mm, place.deep_by(touched))))
        best = touched

        def as_good(at: Floats) -> bool:
            return all(each.holds(at, best) for each in closing) and all(it.deep_by(at) <= mm for it, mm in deep)

        touched = self._aside(best, laid, as_good)
        return touched, [each.told(carried, touched, self._skin) for each in closing]


class _Place:
    """One meeting: its patch on both heads, and the response of the new one."""

    def __init__(
        self, meeting: Meeting, source: Surface, target: Surface, likeness: Similarity, parts: CarriedParts,
        still: NDArray[np.bool_],
    ) -> None:  # fmt: skip
        self.patch = patch = Patch(source, meeting, still, target, likeness.scale)
        self._parts, self._likeness = parts, likeness
        old, self._rest = source.positions[patch.vertices], target.positions[patch.vertices]
        self._sides = PairedSides(patch, old, self._rest, likeness)
        lines = np.concatenate([meeting.upper, meeting.lower])
        ball = ball_of(parts, source.positions[lines]) if meeting.lids else None
        self._lids = None if ball is None else SlidingLids(patch, ball, old, self._rest, likeness.scale)
        pushed = [*patch.sides, self._lids.vertices if self._lids is not None else NO_VERTICES]
        self._response = patch.response(target, np.unique(np.concatenate(pushed)), likeness.scale)
        self._can_push = np.zeros(len(patch.vertices), dtype=bool)
        self._can_push[self._response.pushed] = True
        triangles = patch.polygons.triangles
        self._test = SelfCrossing(patch.polygons)
        self._crossing_at_rest = self._test.pairs(self._rest)
        sides = (NO_VERTICES, NO_VERTICES) if meeting.lids else patch.sides
        self._lips = _within(triangles, sides[0]), _within(triangles, sides[1])
        self._deep_at_rest = self.deep(self._rest)
        near = cKDTree(target.positions).query(self._rest, k=min(BESIDE, target.n_vertices))[1]
        self._beside = near.reshape(len(self._rest), -1)

    def correct(self, pose: NDArray, delta: NDArray, touched: Floats) -> tuple[list[Closing], float]:
        """Correct `touched` (s, 3) in place, for the old skin's `pose` (s, 3) and displacement `delta` (n, 3); what
        closes, and how deep in mm lips may cross."""
        at = self.patch.vertices
        plain = touched[at]
        most = FURTHEST * np.linalg.norm(touched, axis=1)[self._beside].max(axis=1)
        gaps = self._sides.wanted(pose[at])
        lids = None
        if self._lids is not None:
            lids = self._lids.wanted(pose[at], delta, self._parts.motion(self._lids.piece, delta, touched))
        correction, held = self._met_best(plain, gaps, lids, most)
        if lids is not None:
            inside = lids.inside(self._rest + plain + correction)
            if inside.most > ENOUGH * self._length:
                out = least_field(self._response, None, inside, at_least=True)
                correction, more = self._bounded(plain, correction + out, most)
                held = max(held, more)
        deep = max(self._likeness.scale * self.deep(pose[at]), self._deep_at_rest) + DEEPER * self._length
        if correction.any():
            correction = self._parted(plain, correction, gaps, most, deep)
        touched[at] = plain + correction
        return (self._closing(gaps, held) if gaps is not None else []), deep

    def _met_best(
        self, plain: Floats, gaps: WantedGaps | None, lids: WantedHeights | None, most: Floats
    ) -> tuple[Floats, float]:  # fmt: skip
        """The correction (m, 3) of the best round, and the most in mm that bounds cut off."""
        correction, held = np.zeros_like(plain), 0.0
        best, kept = np.inf, (correction, held)
        for step in range(ROUNDS + 1):
            now = self._rest + plain + correction
            pairs = gaps.lacking(now) if gaps is not None else None
            lines = lids.lacking(now) if lids is not None else None
            rows = [each for each in (pairs, lines) if each is not None]
            square = sum(each.square for each in rows)
            if square < best:
                best, kept = square, (correction, held)
            if step == ROUNDS or max((each.most for each in rows), default=0.0) <= ENOUGH * self._length:
                break
            correction, held = self._bounded(plain, correction + least_field(self._response, pairs, lines), most)
        return kept

    def deep(self, patch: NDArray) -> float:
        """mm that lips run into each other where the patch is at (m, 3); 0 for lids, which have no depth."""
        upper, lower = self._lips
        return crossing_depth(patch, upper, lower, DEEPEST * self._length)

    def deep_by(self, displacement: Floats) -> float:
        """The same where the skin moves by a displacement (s, 3)."""
        return self.deep(self._rest + displacement[self.patch.vertices])

    def _parted(
        self, plain: Floats, correction: Floats, gaps: WantedGaps | None, most: Floats, deep: float
    ) -> Floats:  # fmt: skip
        """The correction (m, 3) with triangles parted that cross in it, until no more of them do than without it and
        lips cross no deeper than `deep` mm.

        Gaps hold on to what they have while that is done.
        """
        test = self._test
        allowed = test.count(test.pairs(self._rest + plain))
        hold, free = None, self._can_push.copy()
        if gaps is not None:
            hold = PairRows(gaps.across, np.zeros_like(gaps.gaps), gaps.counts / LOOSE)
            free[gaps.across.vertices[(gaps.own_mm < EXACT * self._length) & (gaps.counts > 0.5)]] = False
        best, kept = np.inf, correction
        for step in range(PARTINGS + 1):
            now = self._rest + plain + correction
            pairs = test.pairs(now)
            deeper = max(self.deep(now) - deep, 0.0)
            badness = max(test.count(pairs) - allowed, 0) + deeper / (A_FACE * self._length)
            if badness < best:
                best, kept = badness, correction
            if badness == 0.0 or step == PARTINGS:
                break
            fresh = test.without(pairs, self._crossing_at_rest)
            apart = parting_rows(now, test.triangles, fresh, free, PARTING * self._length)
            field = least_field(self._response, hold, apart, at_least=True)
            correction, _ = self._bounded(plain, correction + field, most)
        return kept

    @property
    def _length(self) -> float:
        return self.patch.length_mm * self._likeness.scale

    def _bounded(self, plain: Floats, correction: Floats, most: Floats) -> tuple[Floats, float]:
        """The correction (m, 3) within its bounds, where places move `most` (m,) mm, and the most that they cut off."""
        ceiling = CEILING * self._length
        long = np.linalg.norm(correction, axis=1)
        over = np.maximum(long - 0.6 * ceiling, 0.0)
        soft = np.where(over > 0.0, 0.6 * ceiling + 0.4 * ceiling * np.tanh(over / (0.4 * ceiling)), long)
        low = correction * (soft / np.maximum(long, np.finfo(float).tiny))[:, None]
        low = shortened(plain, low, most)
        return low, float(np.linalg.norm(low - correction, axis=1).max(initial=0.0))

    def _closing(self, gaps: WantedGaps, held: float) -> list[Closing]:
        on = gaps.close & (gaps.counts > 0.5)
        if not on.any():
            return []
        meeting, at = self.patch.meeting, self.patch.vertices
        return [
            Closing(
                meeting.name, at, self._rest, gaps.across.some(on), gaps.gaps[on], gaps.own_mm[on], self._length, held,
                meeting.lids,
            )
        ]  # fmt: skip


def _within(triangles: NDArray, chosen: NDArray) -> NDArray:
    """The triangles (t, 3) all of whose corners are among the `chosen` vertices (k,)."""
    return triangles[np.isin(triangles, chosen).all(axis=1)]
