"""The seamless join of the open recipe, kept as long as it is the one that is wanted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.mixing.linear import Mixer
from composer.mixing.recipe import Recipe


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
        """The joined pose (n, 3) mm of a recipe that asks for it; None where it is not there."""
        if recipe.join != "seamless" or self.mixer is not mixer or self.recipe != recipe:
            return None
        return self.pose
