"""One recipe of a document, evaluated at a strength and a level, in full or part of the way from the neutral.

Every pose of a recipe comes from here, so that the amount of row `all`, the strength, a mirrored cell, a hinge, a
corrective and the detail of a finer level mean the same in a bake, a check, a sheet, an accepted sculpt and a sweep.
The strength multiplies the displacement; a step part of the way scales the weights (`Recipe.scaled`).
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
        """The head whose neutral (m, 3) mm the poses start from."""

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
        """A recipe, by default at its own strength. Raises MoueError as `EvaluatedLevel` and `Recipe`."""
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
        """The displacement of each cell and each corrective alone, at the cage (`composer.mixing.sources`)."""
        return sources(self.level.evaluated.mixer, self.recipe)

    def on_the_way(self, share: float) -> EvaluatedRecipe:
        """The recipe at a share in [0, 1] of its weights, with the same strength; itself at 1."""
        return self if share == 1.0 else EvaluatedRecipe(self.level, self.recipe.scaled(share))
