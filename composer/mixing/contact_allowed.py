"""How deep a recipe's own shapes lie in what they touch, each alone at its weight: that much a mix of them may.

A library's shape may go through something on purpose, such as a lip shape that is meant beside an opening jaw. The
depths of a shape are taken at tenths of its weight and read in between, on signed distances, so that the depth at
which it enters is between the tenths too. A corrective's own pose was sculpted, so it may be as deep as it is there: as
far as the corrective is triggered, so far that depth counts.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from composer.mixing.corrective import felt_in
from composer.mixing.linear import Mixer
from composer.mixing.recipe import WEIGHT_RANGE, Cell, Recipe

Floats = NDArray[np.float64]
Depths = Callable[[NDArray], list[Floats]]
STEPS = 10
"""Weights between two whole ones at which depths are taken."""
KEPT = 400
"""How many such poses are kept; the oldest go."""


class AllowedDepths:
    """The depths that recipes may have, for what `depths` (pose to one array for each side, in mm) measures."""

    def __init__(self, mixer: Mixer, depths: Depths, room_mm: Sequence[float], least_mm: Sequence[float]) -> None:
        """`room_mm` is by side what a mix may be deeper than the neutral and its shapes, and `least_mm` the depth, less
        than 0 where surfaces are apart, down to which that is asked."""
        self._mixer, self._depths, self._room, self._least = mixer, depths, room_mm, least_mm
        self.rest = depths(mixer.head.neutral)
        self._taken: dict[Hashable, list[Floats]] = {}

    def of(self, recipe: Recipe) -> list[Floats]:
        """(k,) mm for each side, how deep it may lie in a recipe's pose."""
        deep = [np.array(each) for each in self.rest]
        for cell, low, share in _steps_of(recipe):
            for so_far, own in zip(deep, self._alone(cell, low, share), strict=True):
                np.maximum(so_far, own, out=so_far)
        shares = self._mixer.correctives.weights(felt_in(recipe))
        for name in (name for name, share in shares.items() if share > 0.0):
            for so_far, rest, own in zip(deep, self.rest, self._sculpted(name, recipe), strict=True):
                np.maximum(so_far, rest + shares[name] * (own - rest), out=so_far)
        return [np.maximum(each, least) + room for each, least, room in zip(deep, self._least, self._room, strict=True)]

    def unknown(self, recipe: Recipe) -> int:
        """How many poses have to be measured before the depths of a recipe's cells are known."""
        return len(self._unmeasured(recipe))

    def learn(self, recipe: Recipe, most: int) -> None:
        """Measure at most so many of them."""
        for cell, step in self._unmeasured(recipe)[:most]:
            self._at(cell, step)

    def _unmeasured(self, recipe: Recipe) -> list[tuple[Cell, int]]:
        """Cells and steps whose depths are not known."""
        found = []
        for cell, low, share in _steps_of(recipe):
            asked = (low,) if share == 0.0 else (low, low + 1)
            found += [(cell, step) for step in asked if step != 0 and _key(cell, step) not in self._taken]
        return found

    def _alone(self, cell: Cell, low: int, share: float) -> list[Floats]:
        one = self._at(cell, low)
        if share == 0.0:
            return one
        return [a + share * (b - a) for a, b in zip(one, self._at(cell, low + 1), strict=True)]

    def _at(self, cell: Cell, step: int) -> list[Floats]:
        """The depths with the shape of a cell alone at `step` tenths."""
        if step == 0:
            return self.rest
        at = step / STEPS
        return self._kept(_key(cell, step), lambda: self._mixer.head.neutral + self._mixer.motion(cell).at(at))

    def _sculpted(self, name: str, recipe: Recipe) -> list[Floats]:
        """The depths of the pose at which a corrective was sculpted, in rows as a recipe's."""
        (fix,) = (each for each in self._mixer.correctives.given if each.shape == name)
        amounts = [recipe.row(each.region).amount for each in fix.triggers]
        weights = [each.at / amount if amount else np.inf for each, amount in zip(fix.triggers, amounts, strict=True)]
        if any(not WEIGHT_RANGE[0] <= weight <= WEIGHT_RANGE[1] for weight in weights):
            return self.rest
        cells = tuple(Cell(each.region, each.shape, weight, each.mirrored)
                      for each, weight in zip(fix.triggers, weights, strict=True))  # fmt: skip
        key = (("*", name, False), (recipe.strength, tuple(sorted(recipe.rows.items(), key=lambda row: row[0]))))
        return self._kept(key, lambda: self._mixer.pose(recipe.with_(cells=cells)))

    def _kept(self, key: Hashable, pose: Callable[[], NDArray]) -> list[Floats]:
        if key not in self._taken:
            while len(self._taken) >= KEPT:
                del self._taken[next(iter(self._taken))]
            self._taken[key] = self._depths(pose())
        return self._taken[key]


def _steps_of(recipe: Recipe) -> Iterator[tuple[Cell, int, float]]:
    """The cells of a recipe that move something, the step below the weight of each, and its share of the next."""
    for cell in recipe.cells:
        steps = cell.weight * recipe.amount(cell.region) * recipe.strength * STEPS
        low = int(np.floor(steps + 1e-9))
        if steps != 0.0:
            yield cell, low, max(steps - low, 0.0)


def _key(cell: Cell, step: int) -> Hashable:
    return (("", cell.shape, cell.mirrored), step)
