"""What moves a pose: each cell of a recipe and each corrective that it lets in, as if it acted alone, everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.mixing.corrective import felt_in
from composer.mixing.linear import Mixer
from composer.mixing.recipe import ALL, Cell, Recipe

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Source:
    """What one cell does alone and everywhere: displacement (n, 3) in mm at its weight, its row's amount (`all`
    included) and the recipe's strength."""

    cell: Cell
    delta: Floats

    @cached_property
    def moves(self) -> NDArray[np.bool_]:
        """(n,) where it does anything."""
        return (self.delta[:, 0] != 0.0) | (self.delta[:, 1] != 0.0) | (self.delta[:, 2] != 0.0)


def sources(mixer: Mixer, recipe: Recipe) -> list[Source]:
    """The sources of a recipe: its cells, then the correctives that they let in, the latter as cells of `all`.

    Cells that do nothing, of shapes that the head does not have, or mirrored where the mixer has no mirror map, are
    left out. With every mask 1 and every row adding, their sum is the displacement of the recipe.
    """
    head = mixer.head
    found = []
    for cell in recipe.cells:
        amount = recipe.strength * recipe.amount(cell.region)
        if amount * cell.weight == 0.0 or cell.shape not in head.shape_index:
            continue
        if not cell.mirrored or mixer.mirror is not None:
            found.append(Source(cell, amount * mixer.motion(cell).at(cell.weight)))
    for name, amount in mixer.correctives.amounts(felt_in(recipe)).items():
        if name in head.shape_index:
            delta = np.multiply(head.shape(name).delta, amount, dtype=np.float64)
            found.append(Source(Cell(ALL, name, 1.0), recipe.strength * delta))
    return found
