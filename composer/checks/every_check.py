"""Every check of a document that is asked for at once: on what it holds, its recipes, their sweeps and their pairs."""

from __future__ import annotations

from collections.abc import Sequence

from composer.checks.checked import Checked
from composer.checks.of_document import check_document, check_recipes
from composer.checks.pairs import pair_cells, pair_recipes
from composer.checks.subject import HeadFacts
from composer.checks.sweep import sweep_recipes
from composer.document.evaluated import EvaluatedDocument
from composer.mixing.recipe import Recipe
from composer.progress import Progress


def check_all(
    evaluated: EvaluatedDocument, recipes: Sequence[Recipe], *, sweep: int | None = None, pairs: bool = False,
    cells: bool = False, progress: Progress | None = None, facts: HeadFacts | None = None,
) -> list[Checked]:  # fmt: skip
    """What the checks find: first on the document itself, then on each recipe; on each of `sweep` steps to it, the
    worst; with `pairs`, on every two recipes together; with `cells`, on sweeps and pairs of their cells too.

    `facts` of the same head may be given to be used again. Raises MoueError for a recipe that cannot be mixed.
    """
    facts = facts or HeadFacts(evaluated.head)
    checked = [check_document(evaluated, facts)]
    for recipe, pose, findings in check_recipes(evaluated, recipes, progress, facts):
        checked.append(Checked(recipe.name, pose, findings, recipe=recipe))
    if sweep is not None:
        checked += sweep_recipes(evaluated, recipes, sweep, cells=cells, progress=progress, facts=facts)
    if pairs:
        checked += pair_recipes(evaluated, recipes, progress=progress, facts=facts)
    if cells:
        checked += pair_cells(evaluated, recipes, progress=progress, facts=facts)
    return checked
