"""A cache of the seamless joins of one head, keyed by the mask arrays that they were made from.

Masks are read-only, and an edit makes a new array only where it changed a mask, so the same array means the same ramp.
A join is reused as long as its masks are the same, for any weights, rows and strength.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from functools import cached_property
from threading import RLock

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head
from composer.mixing.seamless import SeamlessJoin
from composer.mixing.seamless_surface import SeamlessSurface
from composer.mixing.seamless_zone import Ramp, ramp_of

KEPT = 8
"""How many joins are kept, the most recently used; a join of a whole face of 25,000 vertices holds about 40 MB."""
KEPT_RAMPS = 96
"""How many ramps are kept: enough for several sets of 20 to 30 regions. A design choice, no source."""


class SeamlessJoins:
    """The joins of a head, each built at its first use, by one thread at a time."""

    def __init__(self, head: Head) -> None:
        self.head = head
        self._lock = RLock()
        self._joins: OrderedDict[tuple[object, ...], tuple[list[NDArray], SeamlessJoin]] = OrderedDict()
        self._ramps: OrderedDict[int, tuple[NDArray, Ramp]] = OrderedDict()

    def serves(self, head: Head) -> bool:
        """Whether these joins fit `head`: it has the same polygons, neutral and skin."""
        cached = self.head
        if cached is head:
            return True
        same_surface = cached.polygons is head.polygons and cached.neutral is head.neutral
        return same_surface and np.array_equal(cached.skin, head.skin)

    @cached_property
    def skin(self) -> SeamlessSurface:
        """The head's skin, prepared once."""
        return SeamlessSurface(self.head.surface, self.head.skin)

    def of(self, masks: Mapping[str, NDArray], halo: float) -> SeamlessJoin:
        """The join of effective `masks` (n,) by region with a halo. Raises MoueError as `SeamlessJoin`."""
        key = (halo, *sorted((region, id(mask)) for region, mask in masks.items()))
        with self._lock:
            if key not in self._joins:
                ramps = {region: self._ramp(mask) for region, mask in masks.items()}
                self._joins[key] = (list(masks.values()), SeamlessJoin(self.skin, masks, halo=halo, ramps=ramps))
            self._joins.move_to_end(key)
            while len(self._joins) > KEPT:
                self._joins.popitem(last=False)
            return self._joins[key][1]

    def _ramp(self, mask: NDArray) -> Ramp:
        if id(mask) not in self._ramps:
            self._ramps[id(mask)] = (mask, ramp_of(self.skin, mask))
        self._ramps.move_to_end(id(mask))
        while len(self._ramps) > KEPT_RAMPS:
            self._ramps.popitem(last=False)
        return self._ramps[id(mask)][1]
