"""The sources of a pose: each cell of a recipe and each corrective that it triggers, acting alone and unmasked."""

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
    """A cell and its unmasked displacement `delta` (n, 3) in mm, at its weight, its row's amount (`all` included) and
    the recipe's strength."""

    cell: Cell
    delta: Floats

    @cached_property
    def moves(self) -> NDArray[np.bool_]:
        """(n,) whether the vertex moves."""
        return (self.delta[:, 0] != 0.0) | (self.delta[:, 1] != 0.0) | (self.delta[:, 2] != 0.0)


def sources(mixer: Mixer, recipe: Recipe) -> list[Source]:
    """The sources of a recipe: its cells, then the correctives that they trigger, as cells of `all`.

    Left out are cells that move nothing, of shapes that the head does not have, or mirrored without a mirror map.
    With every mask 1 and every row adding, their sum is the displacement of the recipe.
    """
    head = mixer.head
    moving = []
    for cell in recipe.cells:
        amount = recipe.strength * recipe.amount(cell.region)
        if amount * cell.weight == 0.0 or cell.shape not in head.shape_index:
            continue
        if not cell.mirrored or mixer.mirror is not None:
            moving.append(Source(cell, amount * mixer.motion(cell).at(cell.weight)))
    for name, amount in mixer.correctives.amounts(felt_in(recipe)).items():
        if name in head.shape_index:
            delta = np.multiply(head.shape(name).delta, amount, dtype=np.float64)
            moving.append(Source(Cell(ALL, name, 1.0), recipe.strength * delta))
    return moving
