"""The share of each row of a recipe at each vertex, from effective masks, kinds of rows and their amounts.

With amount t_r and effective mask e_r of region r, g_r = t_r e_r. A row that adds has the share g_r. Rows that replace
displace the base row: they have the shares g^_r = g_r / max(1, sum of g over them), and the base row has
1 - sum of g^_r, times its own amount. Shares do not depend on the weights of the cells.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, unknown
from composer.mixing.recipe import ALL, Recipe

Masks = Mapping[str, NDArray[np.float64]]


def shares(masks: Masks, recipe: Recipe, n_vertices: int) -> dict[str, NDArray[np.float64]]:
    """(n,) in [0, 1] for `all` and every region that the recipe uses: its row's share at each vertex.

    `masks` are effective masks (n,) by region. `all` may be left out: it is 1 everywhere.
    Raises MoueError where the recipe uses a region that has no mask, or a mask is of another length.

    >>> from composer.mixing.recipe import Row
    >>> mouth = {"mouth": np.array([0.0, 0.25, 1.0])}
    >>> {name: share.tolist() for name, share in shares(mouth, Recipe("r", rows={"mouth": Row("replace")}), 3).items()}
    {'all': [1.0, 0.75, 0.0], 'mouth': [0.0, 0.25, 1.0]}
    """
    added: dict[str, NDArray[np.float64]] = {}
    replacing: dict[str, NDArray[np.float64]] = {}
    for region in recipe.regions:
        if region != ALL:
            row = recipe.row(region)
            share = row.amount * _mask(masks, region, n_vertices, recipe.name)
            (replacing if row.kind == "replace" else added)[region] = share
    base = np.full(n_vertices, recipe.row(ALL).amount)
    if replacing:
        crowd = np.maximum(1.0, np.sum(list(replacing.values()), axis=0))
        replacing = {region: share / crowd for region, share in replacing.items()}
        base *= np.maximum(0.0, 1.0 - np.sum(list(replacing.values()), axis=0))
    return {ALL: base, **added, **replacing}


def _mask(masks: Masks, region: str, n_vertices: int, recipe: str) -> NDArray[np.float64]:
    if region not in masks:
        raise unknown("region", region, [ALL, *masks], f"recipe {recipe}")
    mask = np.asarray(masks[region], dtype=np.float64)
    if mask.shape != (n_vertices,):
        raise MoueError(f"the mask of region {region!r} has {len(mask)} values, the head {n_vertices} vertices")
    return mask
