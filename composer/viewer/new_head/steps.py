"""The steps of a new head: its landmarks, zones and fit after each thing that a person did, to go back and forth in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from composer.fitting.chain import FittedHead
from composer.head.fit_zones import FitZones
from composer.head.places import SurfacePoint

Floats = NDArray[np.float64]
MOST_BYTES = 256 * 2**20
"""What the cages of the steps may take together before the oldest steps are forgotten: some 400 steps of a library of
26,000 vertices (our choice)."""


@dataclass(frozen=True)
class Marks:
    """Places on the sculpt by landmark name, the names of those that are unconfirmed guesses, the points
    along each landmark curve, in the order in which they were pressed, and the names of places that a fit holds."""

    places: dict[str, SurfacePoint] = field(default_factory=dict)
    guessed: frozenset[str] = frozenset()
    curves: dict[str, tuple[SurfacePoint, ...]] = field(default_factory=dict)
    pins: frozenset[str] = frozenset()

    @property
    def placed(self) -> dict[str, SurfacePoint]:
        """The places that are not guesses."""
        return {name: place for name, place in self.places.items() if name not in self.guessed}

    @property
    def pinned(self) -> frozenset[str]:
        """The names of placed landmarks that a fit holds where they lie."""
        return self.pins & self.placed.keys()


@dataclass(frozen=True, eq=False)
class Step:
    """Everything that a person can take back.

    `cage` (n, 3) mm is where the library's vertices stand, None before three landmarks are placed; `stage` how they
    came there: "", "carried" (by the landmarks), "fitted", "refitted", "evened" or "by hand". `fitted` is the last
    whole fit, `through` the marks and `zones_then` the zones with which the cage agrees since that or a refit. `pins`
    are places on the sculpt of vertices that were moved by hand: the next whole fit goes through them.
    """

    marks: Marks = field(default_factory=Marks)
    zones: FitZones = field(default_factory=FitZones)
    cage: Floats | None = None
    stage: str = ""
    fitted: FittedHead | None = None
    through: Marks = field(default_factory=Marks)
    zones_then: FitZones = field(default_factory=FitZones)
    pins: Mapping[int, SurfacePoint] = field(default_factory=dict)


class Steps:
    """The steps in order, and the one that stands now."""

    def __init__(self) -> None:
        self._steps, self._at = [Step()], 0

    @property
    def now(self) -> Step:
        """The step that stands."""
        return self._steps[self._at]

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to undo."""
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        """Whether there is a step to redo."""
        return self._at + 1 < len(self._steps)

    def add(self, step: Step) -> None:
        """One more step; those that were undone are forgotten, and the oldest ones where they take too much memory."""
        self._steps = [*self._steps[: self._at + 1], step]
        while len(self._steps) > 2 and self._bytes() > MOST_BYTES:
            self._steps.pop(0)
        self._at = len(self._steps) - 1

    def go(self, by: int) -> None:
        """Some steps back or forward, as far as there are."""
        self._at = min(max(self._at + by, 0), len(self._steps) - 1)

    def _bytes(self) -> int:
        cages = {id(step.cage): step.cage.nbytes for step in self._steps if step.cage is not None}
        return sum(cages.values())
