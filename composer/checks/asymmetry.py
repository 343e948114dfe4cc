"""Asymmetry that nobody asked for: a recipe whose cells are the same on both sides gives a pose that is not.

Why it matters: a mask painted on one side only, a lock, or a shape that is not the mirror image of its partner
makes a smile crooked, and nobody finds the reason in the weights. What the shapes alone do unequally is the
library's own and is taken off.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding
from composer.checks.subject import CheckSubject
from composer.edits.sides import linked, partner
from composer.geometry.vectors import lengths
from composer.head.symmetry import MirrorMap
from composer.mixing.recipe import Recipe


def is_balanced(recipe: Recipe, regions: list[str], shapes: list[str]) -> bool:
    """Whether every cell of one side has its partner on the other at the same weight, and their rows agree."""
    weights = {cell.key: cell.weight for cell in recipe.cells}
    for cell in recipe.cells:
        other = linked(cell, regions, shapes)
        if other is not None and weights.get(other.key, 0.0) != cell.weight:
            return False
        turned = partner(cell.region, regions)
        if turned is not None and recipe.row(turned) != recipe.row(cell.region):
            return False
    return True


def uneven(displacement: NDArray, mirror: MirrorMap) -> NDArray[np.float64]:
    """(n,) mm by which a displacement (n, 3) differs from its own mirror image, by its mirror map."""
    return lengths(displacement - mirror.vectors(displacement))


def _run(subject: CheckSubject) -> Iterator[Finding]:
    recipe, facts, head = subject.recipe, subject.facts, subject.head
    if recipe is None or not subject.sources:
        return
    regions = list(dict.fromkeys([*subject.masks, *recipe.regions]))
    if not is_balanced(recipe, regions, head.shape_names):
        return
    limit = subject.limits.uneven_mm
    found = uneven(subject.pose - head.neutral, facts.mirror)
    found[~head.skin] = 0.0
    if float(found.max(initial=0.0)) <= limit:
        return
    found -= uneven(np.sum([source.delta for source in subject.sources], axis=0), facts.mirror)
    on = np.flatnonzero(found > limit)
    if not len(on):
        return
    value = float(found[on].max())
    yield Finding(
        code="asymmetry.masks",
        severity="warning",
        words=f"the two sides differ by {value:.1f} mm although the cells are the same on both",
        hint="mirror the masks of the regions there, and look whether one side is locked",
        vertices=on.astype(np.int32),
        amounts=found[on],
        value=value,
        unit="mm",
        where=subject.name,
    )


ASYMMETRY = Check("asymmetry", "asymmetry not asked for", "a crooked smile with no reason in its weights", _run)
