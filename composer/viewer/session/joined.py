"""The whole pose of the open recipe, joined and parted as it says, kept as long as it is the one that is wanted."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Recipe


def is_finished_later(recipe: Recipe) -> bool:
    """Whether a recipe's pose is more than what is seen while a weight is dragged, and is finished beside that."""
    return recipe.join == "seamless" or recipe.contact


@dataclass
class Joined:
    """The last join: of which recipe by which mixer, its pose (n, 3) mm, and how far it moved anything outside the
    ramps, mm. `seconds` is how long it took."""

    recipe: Recipe | None = None
    mixer: Mixer | None = None
    pose: NDArray[np.float32] | None = None
    outside_mm: float = 0.0
    seconds: float | None = None

    def of(self, recipe: Recipe, mixer: Mixer) -> NDArray[np.float32] | None:
        """The joined pose (n, 3) mm of a recipe that is finished later; None where it is not there."""
        if not is_finished_later(recipe) or self.mixer is not mixer or self.recipe != recipe:
            return None
        return self.pose


def joined(evaluated: EvaluatedDocument, recipe: Recipe) -> Joined:
    """A recipe joined and parted as it says. Raises MoueError where it cannot be mixed."""
    if recipe.contact:
        _ = evaluated.contact  # made once a head, so it is no part of what a join takes
    began = time.monotonic()
    if recipe.join == "seamless":
        pose, outside = evaluated.seamless(recipe)
        seconds = time.monotonic() - began
        return Joined(recipe, evaluated.mixer, pose.astype(np.float32), float(outside.max(initial=0.0)), seconds)
    return Joined(recipe, evaluated.mixer, evaluated.pose(recipe).astype(np.float32))
