"""Contact in a pose while it is being dragged: the vertices that are parted go along with every change."""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray

from composer.mixing.columns import NOTHING, Range
from composer.mixing.contact import MixContact
from composer.mixing.recipe import Recipe

TOO_SLOW_SECONDS, TOO_SLOW_STEPS = 0.4, 3
"""On a head on which so many steps in a row take longer it stands aside while a weight is dragged; the pose is parted
at the end. One may be long for another reason: the first one finds how deep the recipe's own shapes lie."""


class LiveContact:
    """What a live pose is parted by, beside its sums."""

    def __init__(self, contact: MixContact) -> None:
        self.contact = contact
        self._last: list[NDArray] = []
        self._slow = 0

    def by(self, contact: MixContact) -> LiveContact:
        """The same by another contact of the head."""
        self.contact = contact
        return self

    def follow(
        self, moved: NDArray[np.float64], positions: NDArray[np.float32], neutral: NDArray, recipe: Recipe
    ) -> Range:  # fmt: skip
        """Part `positions` (n, 3), float32, in place, where they are `moved` (n, 3) from the `neutral` (n, 3) mm, or
        take that back where the recipe keeps no contact. Returns the range of vertices touched."""
        began = time.monotonic()
        aside = self._slow >= TOO_SLOW_STEPS
        found = self.contact.corrections(neutral + moved, recipe) if recipe.contact and not aside else []
        if not aside:
            self._slow = self._slow + 1 if time.monotonic() - began > TOO_SLOW_SECONDS else 0
        before, self._last = self._last, [vertices for vertices, _ in found]
        for vertices in (*before, *self._last):
            positions[vertices] = neutral[vertices].astype(np.float32) + moved[vertices]
        for vertices, correction in found:
            positions[vertices] += correction.astype(np.float32)
        touched = [each for each in (*before, *self._last) if len(each)]
        if not touched:
            return NOTHING
        return min(int(each.min()) for each in touched), max(int(each.max()) for each in touched) + 1
