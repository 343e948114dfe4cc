"""Weights over time as few keys: as many as keep every vertex of every frame within a tolerance.

Each cell gets keys at its first and last frame and, in every gap between keys, at the frame that is furthest off, until
none is further off than its share of the tolerance (Douglas and Peucker 1973, "Algorithms for the Reduction of the
Number of Points", on curves over time). Straight pieces and smooth ones (`composer.mixing.curve`) are both tried; the
fewer keys win. Then the faces are compared, vertex by vertex, and the shares are made as large as the tolerance allows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.mixing.clip import Key
from composer.mixing.curve import Interpolation, curve_of_keys
from composer.mixing.recipe import CellKey

Floats = NDArray[np.float64]
HALVINGS = 5
"""How often the shares are made larger or smaller, by a factor that is halved each time (our choice)."""
LARGEST = 8.0
"""The largest share tried, of the tolerance that a cell would have alone (our choice)."""
KINDS: tuple[Interpolation, ...] = ("linear", "smooth")


@dataclass(frozen=True, eq=False)
class ThinnedKeys:
    """The `keys`, and `off_mm`, how far the furthest vertex of any frame lies from where all frames have it."""

    keys: tuple[Key, ...]
    off_mm: float


def thin_keys(
    times: Floats, cells: Sequence[CellKey], weights: Floats, reach: Floats, within: float,
    off: Callable[[Floats], float],
) -> ThinnedKeys:  # fmt: skip
    """Few keys for the `weights` (f, c) of `cells` at `times` (f,) s, no vertex off by more than `within` mm.

    `reach` (c,) mm is how far the cell moves the vertex that it moves most at weight 1; `off` says for weights (f, c)
    how far the furthest vertex of any frame is off, mm. Weights that come back are those of `weights` at the keys.
    """
    alone = within / np.maximum(reach, 1e-9)

    def at(share: float) -> tuple[list[list[int]], list[Interpolation], float]:
        chosen = [_fewest(times, weights[:, c], share * alone[c]) for c in range(len(cells))]
        thinned = np.stack([curve for _, _, curve in chosen], axis=1) if chosen else np.zeros_like(weights)
        return [keys for keys, _, _ in chosen], [kind for _, kind, _ in chosen], off(thinned)

    best = at(0.0)  # keys wherever the frames are not straight
    low, high = 0.0, LARGEST
    share = 1.0
    for _ in range(HALVINGS):
        tried = at(share)
        if tried[2] <= within:
            best, low = tried, share
        else:
            high = share
        share = 0.5 * (low + high) if low or high < LARGEST else 0.5 * share
    keys = [
        Key(float(times[number]), weight=float(weights[number, c]), region=cell[0], shape=cell[1], mirrored=cell[2],
            interpolation=best[1][c])
        for c, cell in enumerate(cells) for number in best[0][c]
    ]  # fmt: skip
    return ThinnedKeys(tuple(keys), best[2])


def _fewest(times: Floats, values: Floats, within: float) -> tuple[list[int], Interpolation, Floats]:
    """The frames of the keys of one cell, how they go on, and its curve at all frames (f,)."""
    made = [(*_keys_of(times, values, within, kind), kind) for kind in KINDS]
    numbers, curve, kind = min(made, key=lambda one: len(one[0]))
    return numbers, kind, curve


def _keys_of(times: Floats, values: Floats, within: float, kind: Interpolation) -> tuple[list[int], Floats]:
    """Frames whose keys keep the curve `within` of the values at every frame."""
    numbers = [0, len(times) - 1]
    while True:
        curve = curve_of_keys(times[numbers].tolist(), values[numbers].tolist(), [kind] * len(numbers)).at(times)
        off = np.abs(curve - values)
        new = []
        for start, end in zip(numbers, numbers[1:], strict=False):
            gap = off[start + 1 : end]
            if len(gap) and gap.max() > within:
                new.append(start + 1 + int(np.argmax(gap)))
        if not new:
            return numbers, curve
        numbers = sorted([*numbers, *new])
