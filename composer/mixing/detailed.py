"""A pose at a level where the library has detail of its own: the cage's pose, subdivided, with the details mixed.

The details of the cells are mixed by the same rows and the same weights as their displacements, with the rows'
shares lifted to the level, and added in the local frames of the subdivided pose. A shape that turns, or has
in-betweens, brings its detail in by its weight. Region `all`, one cell, weight 1 gives the level's own target back.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.head.detail import Detail
from composer.head.levels import refine
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Recipe


def detailed_pose(
    mixer: Mixer, detail: Detail, recipe: Recipe, cage: NDArray | None = None
) -> NDArray[np.float64]:
    """(n_k, 3) mm, the pose of a recipe at the level of `detail`. `mixer` and `detail` are of the same head; `cage`
    is the pose (n, 3) at level 0, the linear join's unless given.

    Raises MoueError where they are not, and what the mixer and the detail raise for the recipe.
    """
    if mixer.head is not detail.head:
        raise MoueError("the detail belongs to another head than the recipe")
    shares = mixer.shares(recipe)
    local = detail.neutral.astype(np.float64)
    for region in dict.fromkeys(cell.region for cell in recipe.cells):
        row = np.zeros(local.shape)
        for cell in recipe.cells:
            if cell.region == region and cell.weight != 0.0:
                own = detail.of(cell.shape, mixer.mirror if cell.mirrored else None)
                if own is not None:
                    row += np.multiply(own, cell.weight, dtype=np.float64)
        row *= recipe.strength * refine(shares[region], detail.steps)[:, None]
        local += row
    return detail.add(mixer.pose(recipe) if cage is None else cage, local)
