"""One recipe of a document, evaluated: at a strength, at a level, on its way from the neutral or whole.

Whoever wants a recipe's pose asks it here, so that the amount of row `all`, the strength, a mirrored cell, a hinge, a
corrective and the detail of a finer level mean the same in a bake, a check, a sheet, a sculpt taken back and a sweep.
The strength multiplies the displacement; a step on the way scales the weights (`Recipe.scaled`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.geometry.polygons import read_only
from composer.head.head import Head
from composer.mixing.recipe import Recipe
from composer.mixing.sources import Source, sources


class Posing(Protocol):
    """What poses recipes of a document: an `EvaluatedLevel`, or one laid out over a sample."""

    evaluated: EvaluatedDocument

    @property
    def head(self) -> Head:
        """The neutral (m, 3) mm that poses are of."""

    def pose(self, recipe: Recipe) -> NDArray[np.float64]:
        """(m, 3) mm, the pose of a recipe at its own strength."""


@dataclass(frozen=True, eq=False)
class EvaluatedRecipe:
    """A `recipe`, with the strength that it is evaluated at, and the level that poses it."""

    level: Posing
    recipe: Recipe

    @classmethod
    def of(
        cls, evaluated: EvaluatedDocument, recipe: Recipe, strength: float | None = None, level: int = 0
    ) -> EvaluatedRecipe:  # fmt: skip
        """A recipe at its own strength unless another is given. Raises MoueError as `EvaluatedLevel` and `Recipe`."""
        chosen = recipe if strength is None else recipe.with_(strength=float(strength))
        return cls(EvaluatedLevel(evaluated, level), chosen)

    @cached_property
    def pose(self) -> NDArray[np.float64]:
        """(m, 3) mm at the level, read-only. Raises MoueError as `EvaluatedLevel.pose`."""
        return read_only(self.level.pose(self.recipe))

    @property
    def displacement(self) -> NDArray[np.float64]:
        """(m, 3) mm, how far the pose is from the neutral of the level."""
        return np.asarray(self.pose - self.level.head.neutral, dtype=np.float64)

    @cached_property
    def sources(self) -> list[Source]:
        """What each cell and each corrective does alone and everywhere, at the cage; see `composer.mixing.sources`."""
        return sources(self.level.evaluated.mixer, self.recipe)

    def on_the_way(self, share: float) -> EvaluatedRecipe:
        """The recipe at a share in [0, 1] of its weights, the strength as it is; itself at 1."""
        return self if share == 1.0 else EvaluatedRecipe(self.level, self.recipe.scaled(share))
