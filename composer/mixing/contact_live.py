"""Contact in a pose while it is being dragged: the vertices that are parted go along with every change.

What is parted afresh in a step may take longer than a step should. Then the next steps move the last correction along
with the pose until the time is made up for, so that a drag takes no longer a step than `BUDGET_SECONDS` in the mean.
Whatever is not a drag is parted exactly, where the depths of the recipe's shapes are known; where they are not, nothing
is, for they are found beside the frame loop. A drag finds them step by step.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from composer.mixing.columns import NOTHING, Range
from composer.mixing.contact import MixContact
from composer.mixing.recipe import Recipe

Corrections = list[tuple[NDArray[np.int64], NDArray[np.float64]]]
BUDGET_SECONDS = 0.008
"""What contact may take of a drag's step in the mean: half of a frame at 60 a second."""
MOST_MADE_UP = 3
"""Steps in a row at most that move the last correction along."""
MOST_UNKNOWN = 2
"""Poses of shapes alone, whose depths are not known yet, that a step looks at: a cell that comes to its next tenth has
one or two. Where a pose has more it is parted when they are known."""
TOO_SLOW_SECONDS, TOO_SLOW_STEPS = 0.4, 3
"""On a head on which so many steps in a row take longer it stands aside while a weight is dragged; the pose is parted
at the end."""
MOST_VERTICES = 150_000
"""On a head with more vertices it stands aside as well: the pose of a drag is made where it is drawn."""


class LiveContact:
    """What a live pose is parted by, beside its sums. `clock` says the time in seconds."""

    def __init__(self, contact: MixContact, clock: Callable[[], float] = time.monotonic) -> None:
        self.contact = contact
        self._clock = clock
        self._last: list[NDArray] = []
        self._found: Corrections = []
        self._slow, self._owed = 0, 0.0

    def by(self, contact: MixContact) -> LiveContact:
        """The same by another contact of the head."""
        self.contact, self._found = contact, []
        return self

    @property
    def follows(self) -> bool:
        """Whether anything is parted while a weight is dragged."""
        fits = self.contact.parts and self.contact.head.n_vertices <= MOST_VERTICES
        return fits and self._slow < TOO_SLOW_STEPS

    def corrections(self, pose: NDArray, recipe: Recipe, dragged: bool) -> Corrections:
        """For each place that changes its vertices (k,) and their correction (k, 3) mm in a `pose` (n, 3) mm. While a
        weight is `dragged` that may be the last one."""
        if not recipe.contact or not self.follows:
            self._found, self._owed = [], 0.0
        elif dragged and self._owed > 0.0:
            self._owed -= BUDGET_SECONDS
        elif (new := self.contact.unknown(recipe) > MOST_UNKNOWN) and not dragged:
            self._found, self._owed = [], 0.0
        else:
            began = self._clock()
            if new:
                self.contact.learn(recipe, MOST_UNKNOWN)
            else:
                self._found = self.contact.corrections(pose, recipe)
            took = self._clock() - began
            self._slow = self._slow + 1 if took > TOO_SLOW_SECONDS else 0
            over = self._owed + took - BUDGET_SECONDS
            self._owed = min(max(over, 0.0), MOST_MADE_UP * BUDGET_SECONDS) if dragged else 0.0
        return self._found

    def follow(
        self, moved: NDArray[np.float64], positions: NDArray[np.float32], neutral: NDArray, recipe: Recipe,
        dragged: bool = False,
    ) -> Range:  # fmt: skip
        """Part `positions` (n, 3), float32, in place, where they are `moved` (n, 3) from the `neutral` (n, 3) mm, or
        take that back where the recipe keeps no contact. Returns the range of vertices touched."""
        found = self.corrections(neutral + moved, recipe, dragged)
        before, self._last = self._last, [vertices for vertices, _ in found]
        for vertices in (*before, *self._last):
            positions[vertices] = neutral[vertices].astype(np.float32) + moved[vertices]
        for vertices, correction in found:
            positions[vertices] += correction.astype(np.float32)
        touched = [each for each in (*before, *self._last) if len(each)]
        if not touched:
            return NOTHING
        return min(int(each.min()) for each in touched), max(int(each.max()) for each in touched) + 1
