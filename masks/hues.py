"""A colour number for each of many masks, so that masks which lie over each other differ."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

HUES = 7
"""How many colours there are to choose from."""


def hues_apart(masks: Sequence[NDArray], held: Sequence[int | None] = ()) -> list[int]:
    """A number from 0 to HUES - 1 for each of the masks (n,) in [0, 1], so that overlapping masks differ wherever that
    many colours are enough.

    `held` are the numbers that masks have already, None where one is to be chosen; those stay. Each other mask takes
    the colour of which the held and the earlier masks overlap it least; of several such colours the next one in turn.
    """
    chosen: list[int | None] = list(held) or [None] * len(masks)
    if all(hue is not None for hue in chosen):
        return [int(hue) for hue in chosen if hue is not None]
    weights = np.stack([np.asarray(mask, dtype=np.float32) for mask in masks])
    for i, weight in enumerate(weights):
        if chosen[i] is not None:
            continue
        cost = np.zeros(HUES)
        for other, hue in zip(weights, chosen, strict=True):
            if hue is not None:
                cost[hue] += float(np.minimum(weight, other).sum())
        turns = (np.arange(HUES) - i) % HUES
        chosen[i] = int(np.lexsort((turns, np.round(cost, 3)))[0])
    return [int(hue) for hue in chosen if hue is not None]
