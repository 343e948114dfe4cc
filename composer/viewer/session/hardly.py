"""Which shapes hardly move a region, found as pictures of them come into sight."""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray

from composer.mixing.moved_here import furthest_within
from composer.mixing.recipe import ALL
from composer.viewer.session.dropped import HARDLY
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage

BUDGET_SECONDS = 0.004
"""Time a frame may take for finding out. A design choice, no source."""


class Hardly:
    """What is known for the region that is pointed at, or else the chosen one."""

    def __init__(self) -> None:
        self._mask: NDArray | None = None
        self._inside: NDArray = np.zeros(0, dtype=np.int64)
        self._known: dict[str, bool] = {}
        self._until = 0.0

    def begin(self, stage: Stage, searched: bool = False) -> None:
        """Begin a frame: what is known of another region, or of another mask, is forgotten. While something is
        `searched` for only the region that is pointed at counts: what is found is wanted, wherever it moves."""
        session = stage.opened
        region = stage.pointed if stage.pointed in session.evaluated.raw else ALL if searched else session.region
        mask = None if region == ALL else session.evaluated.effective.get(region)
        if mask is not self._mask:
            self._mask, self._known = mask, {}
            self._inside = np.zeros(0, dtype=np.int64) if mask is None else np.flatnonzero(mask)
        self._until = time.perf_counter() + BUDGET_SECONDS

    def hardly(self, session: Session, shape: str) -> bool:
        """Whether a shape hardly moves the region; False where that is not known yet."""
        if self._mask is None:
            return False
        if shape not in self._known:
            if time.perf_counter() > self._until:
                return False
            inside = self._inside
            here = furthest_within(session.head.shape(shape).delta[inside], self._mask[inside])
            self._known[shape] = here < HARDLY * session.furthest_mm(shape)
        return self._known[shape]
