"""Recipes and cells that do nothing.

Why it matters: a recipe that gives the neutral bakes a target that nobody can use, and a cell whose shape
does not reach its region looks like a setting that works.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from composer.checks.check import Check
from composer.checks.finding import Finding
from composer.checks.subject import CheckSubject
from composer.mixing.recipe import ALL, Recipe


def _run(subject: CheckSubject) -> Iterator[Finding]:
    recipe, limit = subject.recipe, subject.limits.empty_mm
    if recipe is None:
        return
    if float(subject.movement.max(initial=0.0)) < limit:
        yield Finding(
            "empty.recipe", "warning", f"the recipe moves nothing: {_reason(subject, recipe)}",
            hint="give it a cell, or remove it", value=float(subject.movement.max(initial=0.0)), unit="mm",
            where=subject.name,
        )  # fmt: skip
        return
    for source in subject.sources:
        cell = source.cell
        mask = np.ones(subject.head.n_vertices) if cell.region == ALL else subject.masks.get(cell.region)
        if mask is None:
            continue
        on = np.flatnonzero(source.moves & (mask != 0.0))
        moved = np.abs(source.delta[on]).max(axis=1) * mask[on]
        if float(moved.max(initial=0.0)) < limit:
            yield Finding(
                "empty.cell", "note", f"the cell {cell.region} x {cell.shape} moves nothing in its region",
                hint="remove the cell, or choose a shape that moves there",
                value=float(moved.max(initial=0.0)), unit="mm", where=cell.region,
            )  # fmt: skip


def _reason(subject: CheckSubject, recipe: Recipe) -> str:
    if not recipe.cells:
        return "it has no cells"
    if recipe.strength == 0.0:
        return "its strength is 0"
    if all(cell.weight == 0.0 for cell in recipe.cells):
        return "all its weights are 0"
    if not subject.sources:
        return "the rows of all its cells are muted"
    used = [subject.masks.get(source.cell.region) for source in subject.sources if source.cell.region != ALL]
    if used and all(mask is not None and not np.any(mask) for mask in used):
        return "the masks of its regions are empty"
    return "its shapes do not move where its regions are"


EMPTY = Check("empty", "recipes without effect", "a target that equals the neutral is of no use", _run)
