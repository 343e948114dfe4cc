"""Places of a head on a sculpt, judged side by side: from each the most likely head, and whether its form agrees.

A place is believed where it agrees and every other place is clearly worse: a nearly round head also comes near to a
sculpt upside down or back to front, and bent enough it agrees in part. All places are judged by a few fields of the
prior and few closest points; the whole prior is for the best one, and for its rival where both are near.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import no_pairs
from composer.fitting.closest import ClosestSurface
from composer.fitting.mark_pulls import MarkPulls
from composer.fitting.prior.posterior import LAST_ROUNDS, MOST_PLACES, Posterior
from composer.fitting.prior.prior import Prior
from composer.fitting.prior.rims import find_rim
from composer.fitting.prior.skin_prior import skin_prior
from composer.fitting.skin import Skin
from composer.fitting.start.agreement import Agreement, FineForm, agreement, own_relief
from composer.geometry.rigid import Similarity, similarity
from composer.geometry.surface import Surface
from composer.head.head import Head

Rows = NDArray[np.float64]

SIGMA = 2e-3
"""Standard deviation of the sculpt about the skin, as a share of the diagonal: the middle of a fit's."""
FEW_FIELDS, FEW_PLACES, FEW_ROUNDS = 80, 600, 3
"""Fields of the prior, places of closest points, and rounds, while many places are judged (our choice)."""
SHOWN = 0.4
"""Least share of the library's relief that lies on the sculpt: the back of a head, or its crown, can be placed, but a
face would be invented (our choice)."""
CLEARLY = 0.5
"""A place is clearly better than another where its worth lacks less than this share of what the other's lacks to full
agreement (see DEVELOPERS.md for what right and wrong places have)."""
SAME_DEG = 30.0
"""Places whose turns are no further apart are one (our choice)."""


@dataclass(frozen=True, eq=False)
class Rival:
    """A place judged: the skin's positions `placed` (s, 3) mm in the sculpt's space, the similarity `aligned` of the
    library's skin onto them, and how well both agree."""

    placed: Rows
    aligned: Similarity
    agreement: Agreement

    @property
    def worth(self) -> float:
        """How well its relief agrees, in [-1, 1]; less where it shows little, for then chance agrees."""
        return self.agreement.relief * min(self.agreement.shown / SHOWN, 1.0)

    def is_clear_of(self, others: Sequence[Rival]) -> bool:
        """Whether it is clearly better than those of the others that are another place."""
        lacks = CLEARLY * np.array([1.0 - each.worth for each in others if not self.is_same(each)])
        return bool((1.0 - self.worth < lacks).all())

    def is_same(self, other: Rival) -> bool:
        """Whether both are one place."""
        turn = self.aligned.inverse().rotation @ other.aligned.rotation
        return bool(turn.trace() > 1.0 + 2.0 * np.cos(np.radians(SAME_DEG)))


def best_first(rivals: Sequence[Rival]) -> list[Rival]:
    """The rivals, the one that agrees best first."""
    return sorted(rivals, key=lambda each: -each.worth)


@dataclass(frozen=True, eq=False)
class Judge:
    """What does not depend on the place: the skin, what is likely of it, and where it follows."""

    head: Head
    skin: Skin
    rest: Surface
    follow: Rows
    own: Rows
    prior: Prior
    small: Prior

    @classmethod
    def of(cls, head: Head, free: NDArray, earlier: Sequence[NDArray]) -> Judge:
        skin = Skin.of(head)
        freedom = np.asarray(free, dtype=np.float64)[skin.vertices]
        rest = Surface(skin.polygons, head.neutral[skin.vertices])
        prior, follow = skin_prior(head, skin, freedom, earlier), 1.0 - freedom
        mass = rest.mass * (follow if (follow > 0.5).any() else 1.0)
        return cls(head, skin, rest, follow, own_relief(rest, head.diagonal), prior, prior.largest(FEW_FIELDS, mass))

    def followed(self) -> tuple[Rows, NDArray]:
        """The part of the skin that follows, positions (s, 3) mm and triangles (t, 3)."""
        triangles = self.skin.polygons.triangles
        followed = triangles[(self.follow > 0.5)[triangles].all(axis=1)]
        return self.rest.positions, followed if len(followed) else triangles

    def fine_form(self, sculpt: ClosestSurface, size: float) -> FineForm:
        """What all judging of one sculpt compares with, where the head is about so many times its own `size`."""
        return FineForm.of(sculpt, self.head.diagonal, size)

    def quickly(self, move: Similarity, fine: FineForm) -> Rival:
        """A place judged on the coarse sculpt, by few fields and places."""
        return self._judged(move, fine, fine.surface, self.small, FEW_PLACES, FEW_ROUNDS)

    def wholly(self, move: Similarity, fine: FineForm, sculpt: ClosestSurface) -> Rival:
        """A place judged on the sculpt itself, by the whole prior and the sculpt's rim."""
        return self._judged(move, fine, sculpt, self.prior, MOST_PLACES, LAST_ROUNDS)

    def _judged(
        self, move: Similarity, fine: FineForm, sculpt: ClosestSurface, prior: Prior, most: int, rounds: int
    ) -> Rival:
        scale, back = self.head.diagonal, move.inverse()
        here = sculpt.moved(back)
        marks = MarkPulls.of(self.skin, no_pairs(), self.head.neutral)
        posterior = Posterior(prior, self.rest, here, self.follow, marks, scale, most)
        begin = posterior.through_landmarks()
        rim = find_rim(self.head, self.skin, begin.positions, here)
        posterior.hold(None if rim is None else rim[0])
        placed = posterior.under_sculpt(begin, SIGMA, last=rounds).positions
        aligned = similarity(self.rest.positions, move(placed), self.rest.mass * self.follow)
        agrees = agreement(self.rest, self.own, placed, self.follow, fine.moved(back), scale)
        return Rival(move(placed), aligned, agrees)
