"""Seamless joins of one head, kept as long as they are of use: by the very masks they were made of.

Masks are read-only and an edit makes new ones only where it changed something, so the same array means the same
ramp. A join whose masks are still the same is found again, whatever the weights, the rows or the strength are now.
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
"""How many joins are kept, the latest used; one of a whole face at 25,000 vertices holds about 40 MB."""
KEPT_RAMPS = 96


class SeamlessJoins:
    """The joins of a head, made when they are asked for, by one thread at a time."""

    def __init__(self, head: Head) -> None:
        self.head = head
        self._lock = RLock()
        self._joins: OrderedDict[tuple[object, ...], tuple[list[NDArray], SeamlessJoin]] = OrderedDict()
        self._ramps: OrderedDict[int, tuple[NDArray, Ramp]] = OrderedDict()

    def serves(self, head: Head) -> bool:
        """Whether these joins are of another state of the same head: same polygons, neutral and skin."""
        ours = self.head
        return ours is head or (
            ours.polygons is head.polygons and ours.neutral is head.neutral and np.array_equal(ours.skin, head.skin)
        )

    @cached_property
    def skin(self) -> SeamlessSurface:
        """The head's skin, made ready once."""
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
