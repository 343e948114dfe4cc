"""Which cells of a recipe move a place of the face, and by how much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.mixing.corrective import felt_in
from composer.mixing.linear import Mixer
from composer.mixing.recipe import CellKey, Recipe


@dataclass(frozen=True, eq=False)
class Mover:
    """What moves a place: a cell's `key`, or None with the name of a `corrective`; the cell's `weight`, a corrective's
    amount; and how it moves the place, (3,) mm."""

    key: CellKey | None
    corrective: str
    weight: float
    by: NDArray[np.float64]

    @property
    def mm(self) -> float:
        """How far it moves the place, mm."""
        return float(np.linalg.norm(self.by))


def movers(mixer: Mixer, recipe: Recipe, corners: ArrayLike, bary: ArrayLike) -> list[Mover]:
    """Every cell and corrective that moves the point with the weights `bary` (c,) on the vertices `corners` (c,), the
    one that moves it furthest first.

    Their movements, mm, sum to that of the recipe joined linearly (`Mixer.displacement`). Raises MoueError as that
    does.
    """
    at, weights = np.asarray(corners, dtype=np.int64), np.asarray(bary, dtype=np.float64)
    shares = mixer.shares(recipe)
    found = []
    for cell in recipe.cells:
        move = mixer.motion(cell)
        places, there = mixer.standing.weights(at, weights, shares[cell.region])
        by = np.zeros(3)
        for amount, field in zip(move.amounts(cell.weight), move.fields, strict=True):
            by += amount * (there @ np.asarray(field[places], dtype=np.float64))
        found.append(Mover(cell.key, "", cell.weight, recipe.strength * by))
    for name, amount in mixer.correctives.amounts(felt_in(recipe)).items():
        by = amount * (weights @ np.asarray(mixer.head.shape(name).delta[at], dtype=np.float64))
        found.append(Mover(None, name, amount, recipe.strength * by))
    return sorted((one for one in found if one.mm > 0.0), key=lambda one: -one.mm)
