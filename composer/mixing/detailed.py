"""A pose at a subdivision level where the library has detail: the cage's pose, subdivided, plus the mixed details.

The details of the cells are mixed with the same rows and weights as their displacements, with the rows' shares
subdivided to the level. They are added in the local frames of the subdivided pose. The detail of a shape that turns,
or has in-betweens, is scaled by its weight. One cell of region `all` at weight 1 gives the level's target exactly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.head.detail import Detail
from composer.head.levels import refine
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Recipe


def detailed_pose(mixer: Mixer, detail: Detail, recipe: Recipe, cage: NDArray | None = None) -> NDArray[np.float64]:
    """(n_k, 3) mm, the pose of a recipe at the level of `detail`. `mixer` and `detail` belong to one head; `cage` is
    the pose (n, 3) in mm at level 0, by default that of the linear join.

    Raises MoueError where they belong to different heads, and the errors of `mixer` and `detail` for the recipe.
    """
    if mixer.head is not detail.head:
        raise MoueError("the detail and the recipe belong to different heads")
    shares = mixer.shares(recipe)
    local = detail.neutral.astype(np.float64)
    for region in dict.fromkeys(cell.region for cell in recipe.cells):
        row = np.zeros(local.shape)
        for cell in recipe.cells:
            if cell.region == region and cell.weight != 0.0:
                shape_detail = detail.of(cell.shape, mixer.mirror if cell.mirrored else None)
                if shape_detail is not None:
                    row += np.multiply(shape_detail, cell.weight, dtype=np.float64)
        row *= recipe.strength * refine(shares[region], detail.steps)[:, None]
        local += row
    return detail.add(mixer.pose(recipe) if cage is None else cage, local)
