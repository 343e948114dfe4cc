"""All checks on the recipes of a document whose head is open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from numpy.typing import NDArray

from composer.checks.finding import Finding
from composer.checks.registry import run_checks
from composer.checks.subject import CheckSubject, HeadFacts
from composer.document.ready import Ready
from composer.mixing.recipe import Recipe


def check_recipes(ready: Ready, recipes: Sequence[Recipe]) -> Iterator[tuple[Recipe, NDArray, list[Finding]]]:
    """Each recipe with its pose (n, 3) mm and what the checks find on it, worst first, one after the other.

    Raises MoueError for a recipe that cannot be mixed.
    """
    facts = HeadFacts(ready.head)
    for recipe in recipes:
        pose = ready.pose(recipe)
        subject = CheckSubject(facts, pose, recipe.name, recipe, ready.effective, ready.mirror)
        yield recipe, pose, run_checks(subject)
