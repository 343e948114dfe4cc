"""A shape retouched: a sculpt takes the place of one of the library's own targets, or of a kept shape.

The library's files are never written. The document keeps the new target and says that it stands in for the library's
(`replaces`); taken out again, the library's own is back. Recipes use the shape by its name and follow at once; what
else rests on the old target is told, because only a person can say whether it still fits.
"""

from __future__ import annotations

import numpy as np

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.document.project import Project
from composer.edits.accept import Accepted, accepted_from, cage_of, replaced_delta, with_detail
from composer.edits.sculpt import Sculpt
from composer.edits.shapes import kept_shapes, recipes_with_shape
from composer.errors import MoueError, unknown
from composer.head.head import Head
from composer.mixing.recipe import ALL, Cell, Recipe

MOST_NAMED = 6
"""Recipes that are named before the rest are only counted."""


def retouch(evaluated: EvaluatedDocument, name: str, sculpt: Sculpt, unit: str | None = None) -> Accepted:
    """The document with a sculpt in the place of the shape `name`. `unit` is what it was read in, for the words.

    Raises MoueError for an unknown shape, a corrective's own (its recipe takes a sculpt instead), a sculpt in which
    nothing moved, or that is of another scale or moved as a whole.
    """
    project, head = evaluated.project, evaluated.head
    if name not in head.shape_index:
        raise unknown("shape", name, head.shape_names, project.path)
    fixed = next((one for one in project.correctives if one.shape == name), None)
    if fixed is not None:
        hint = "accept the sculpt of a recipe's bake instead: --recipe NAME"
        raise MoueError(f"shape {name!r} is a corrective, which is never seen alone", project.path, hint=hint)
    alone = Recipe(name, (Cell(ALL, name, 1.0),))
    level = EvaluatedLevel(evaluated.again(project.with_(correctives=())), sculpt.level, steps=sculpt.steps)
    before = EvaluatedRecipe(level, alone).pose
    rest = EvaluatedRecipe(level, Recipe("rest")).pose
    delta = cage_of(level, np.asarray(sculpt.positions - rest))
    own = name not in kept_shapes(project) or bool(project.shapes[name].get("replaces"))
    changed = replaced_delta(project, name, delta, sculpt.level)
    if own:
        changed = changed.with_(shapes={**changed.shapes, name: {**changed.shapes[name], "replaces": True}})
    plain = level.of(evaluated.again(changed.with_(correctives=())))
    at, left = with_detail(plain, name, alone, sculpt)
    whole = at.evaluated.project.with_(correctives=project.correctives)
    return accepted_from(
        level, evaluated.again(whole), sculpt, name, before, left, unit, retouched=True,
        resting=tuple(rests_on(project, head, name)),
    )  # fmt: skip


def rests_on(project: Project, head: Head, name: str) -> list[str]:
    """Sentences on what uses a shape: recipes, correctives that its cells let in, its hinge and its in-betweens."""
    told = []
    users = recipes_with_shape(project, name)
    if users:
        more = f" and {len(users) - MOST_NAMED} more" if len(users) > MOST_NAMED else ""
        told.append(f"Recipes that use it change with it: {', '.join(users[:MOST_NAMED])}{more}.")
    fixes = [one.shape for one in project.correctives if any(trigger.shape == name for trigger in one.triggers)]
    if fixes:
        words = "Correctives sculpted on the old one come on top of the new one"
        told.append(f"{words}: {', '.join(fixes)}; look at them.")
    if head.shape(name).inbetweens:
        told.append("Its in-betweens are those of the old one; look at it half way.")
    hinge = project.shapes.get(name, {}).get("hinge", "off")
    if hinge != "off":
        told.append("Its hinge was found on the old one; look at it half way.")
    if any(level for level in project.levels):
        told.append("The library's own detail of it at finer levels is left out: it was of the old one.")
    return told
