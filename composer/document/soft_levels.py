"""The shares of softened regions at a finer level: there the ramp is taken anew, from the subdivided signed distance.

A ramp taken at the vertices of a cage has teeth one polygon wide, and subdividing the mask keeps them. The signed
distance from a border is smooth across it, so its subdivision is too, and so is the ramp made of that.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Region
from composer.document.region_sources import RAMP
from composer.head.levels import Refinement, refine
from composer.head.soft_borders import soft_border
from composer.head.spots import ground_of
from composer.mixing.recipe import Recipe
from composer.mixing.shares import shares
from masks.partition import share_filled
from masks.soften import ramp

Floats = NDArray[np.float64]
WHOLLY = 1.0 - 1e-9
"""A fine vertex is on the skin where the subdivided flag of the skin is at least this; below it rounding is meant."""


def finer_by(
    evaluated: EvaluatedDocument, recipe: Recipe, steps: Sequence[Refinement], rules: Sequence[Refinement]
) -> Floats | None:
    """(m, 3) mm, what a recipe that joins linearly moves further at a level than its subdivided cage pose, as ramps are
    taken there; None where no softened region is used. At strength 1.

    `steps` are the factors of plain subdivision from the cage to the level, `rules` those of positions.
    """
    sets = {r.set for r in evaluated.project.regions if evaluated.is_softened(r)}
    used = [r for r in evaluated.project.regions if r.set in sets]
    if not steps or recipe.join != "linear" or not {r.name for r in used} & set(recipe.regions):
        return None
    mixer = evaluated.mixer
    masks = {name: refine(mixer.masks[name], steps) for name in recipe.regions if name in mixer.masks}
    pure = _open_skin(evaluated, steps)
    for name in sets:
        members = [r for r in used if r.set == name]
        for region, fine in zip(members, _fine_masks(evaluated, members, steps), strict=True):
            if region.name in masks:
                masks[region.name] = np.where(pure, fine, masks[region.name])
    cage, fine_shares = mixer.shares(recipe), shares(masks, recipe, len(pure))
    total = np.zeros((len(pure), 3))
    for name, row in mixer.rows(recipe).items():
        gap = fine_shares[name] - refine(cage[name], steps)
        if gap.any():
            total += gap[:, None] * refine(row, rules)
    return total


def _open_skin(evaluated: EvaluatedDocument, steps: Sequence[Refinement]) -> NDArray[np.bool_]:
    """(m,) the fine vertices that depend on skin alone, none of it behind a rim."""
    ground = ground_of(evaluated.head)
    return refine((ground.skin & ~ground.hollows.inside).astype(np.float64), steps) >= WHOLLY


def _fine_masks(evaluated: EvaluatedDocument, members: Sequence[Region], steps: Sequence[Refinement]) -> Floats:
    """(r, m) the effective masks of one set of regions at the level."""
    plain = np.stack([np.clip(refine(evaluated.plain(r), steps), 0.0, 1.0) for r in members])
    soft = np.stack([_fine_mask(evaluated, r, steps) for r in members])
    return share_filled(soft, plain, [r.locked for r in members]) if len(members) > 1 else soft


def _fine_mask(evaluated: EvaluatedDocument, region: Region, steps: Sequence[Refinement]) -> Floats:
    """(m,) the raw mask of a region at the level."""
    if evaluated.is_softened(region):
        inward = soft_border(evaluated.head, evaluated.plain(region)).inward
        if np.isfinite(inward).all():
            return ramp(refine(inward, steps), float(region.source[RAMP]))
    return np.clip(refine(evaluated.raw[region.name], steps), 0.0, 1.0)
