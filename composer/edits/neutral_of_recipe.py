"""The pose of a recipe as a head at rest: a new neutral, with its parts placed and its finer levels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.errors import MoueError
from composer.fitting.parts import place_parts
from composer.geometry.polygons import read_only
from composer.head.head import Head
from composer.head.levels import levels, refine


def neutral_of_recipe(evaluated: EvaluatedDocument, recipe: str) -> tuple[Head, dict[int, NDArray[np.float64]]]:
    """The head without shapes whose neutral is a recipe's pose, and its positions (n_k, 3) mm at the document's levels.

    The skin is the pose's. Eyes, teeth and other parts are not mixed: each moves as one piece with the skin about it,
    as after a fit (`composer.fitting.parts`). Raises MoueError for an unknown recipe, one that moves no skin, and as
    `EvaluatedLevel.pose`.
    """
    held = evaluated.project.recipe(recipe)
    head = evaluated.head
    pose = EvaluatedRecipe.of(evaluated, held).pose
    if np.array_equal(pose[head.skin], head.neutral[head.skin]):
        what = f"recipe {recipe!r} leaves the skin as it is, so it gives no other head"
        raise MoueError(what, evaluated.project.path, hint="give its regions an earlier head, or a shape")
    placed, _ = place_parts(head, pose)
    new = head.with_(
        name=recipe, neutral=read_only(placed), shapes=(), neutral_file=None, path=None, notes=(), colours=None
    )
    steps = levels(head.polygons, max(evaluated.project.levels, default=0))
    finer = {
        k: EvaluatedLevel(evaluated, k, steps=steps).pose(held) + refine(placed - pose, steps[:k])
        for k in sorted(evaluated.project.levels)
    }
    return new, finer


def expressions_in(evaluated: EvaluatedDocument, recipe: str) -> list[str]:
    """The shapes of a recipe's cells that are expressions, not earlier heads, each once: they become part of the face
    at rest. Raises MoueError for an unknown recipe or shape."""
    cells = [cell for cell in evaluated.project.recipe(recipe).cells if cell.weight != 0.0]
    return list(dict.fromkeys(c.shape for c in cells if not evaluated.head.shape(c.shape).is_head))
