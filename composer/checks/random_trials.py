"""Random combinations, checked, and the worst of them kept: what an animator will find sooner or later.

The same seed gives the same combinations; each is the same whether few or many are tried. Worse is more errors, then
more warnings, then the earlier one.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from pathlib import Path

from composer.checks.checked import Checked
from composer.checks.finding import Finding
from composer.checks.of_document import check_recipes
from composer.checks.subject import HeadFacts
from composer.checks.words import in_few_words
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.document.store import moved_to, save_document
from composer.edits.trials import random_recipe
from composer.errors import MoueError
from composer.head.folders import make_folder
from composer.progress import Progress


def badness(findings: Sequence[Finding]) -> tuple[int, int]:
    """How many errors and how many warnings, for comparing."""
    severities = [finding.severity for finding in findings]
    return severities.count("error"), severities.count("warning")


def mixable_shapes(project: Project, names: Sequence[str]) -> list[str]:
    """The shapes, of `names`, that a person mixes: no in-betweens of others, no correctives, none that is hidden."""
    between = {each["target"] for own in project.shapes.values() for each in own.get("inbetweens", [])}
    left = between | {one.shape for one in project.correctives}
    left |= {name for name, own in project.shapes.items() if own.get("hidden")}
    return [name for name in names if name not in left]


def worst_random(
    evaluated: EvaluatedDocument,
    count: int,
    seed: int,
    keep: int,
    *,
    cells: int = 4,
    symmetric: bool = False,
    limits: tuple[float, float] = (0.0, 1.0),
    progress: Progress | None = None,
    facts: HeadFacts | None = None,
) -> list[Checked]:
    """The worst `keep` of `count` combinations of `cells` cells, weights within `limits`, the worst first.

    They are named by the seed that makes each, `seed` and the numbers after it. Raises MoueError where there are too
    few regions and shapes for so many cells, or counts below 1.
    """
    if count < 1 or keep < 1:
        raise MoueError("trying or keeping none shows nothing", hint="give numbers of 1 and more")
    regions = [region.name for region in evaluated.project.regions]
    shapes = mixable_shapes(evaluated.project, [shape.name for shape in evaluated.head.expressions])
    if not regions:
        raise MoueError(
            "has no regions to combine shapes in", evaluated.project.path, hint="make some with moue regions"
        )
    facts = facts or HeadFacts(evaluated.head)
    held: list[tuple[tuple[int, int], int, Checked]] = []
    for i in range(count):
        name = f"trial_{seed + i}"
        recipe = random_recipe(seed + i, regions, shapes, cells, limits, symmetric, name)
        if progress is not None:
            progress(i / count, f"trying {name}")
        for _, pose, findings in check_recipes(evaluated, [recipe], facts=facts):
            one = (badness(findings), -i, Checked(name, pose, findings, recipe=recipe))
            if len(held) < keep:
                heapq.heappush(held, one)
            else:
                heapq.heappushpop(held, one)
    return [one for _, _, one in sorted(held, key=lambda each: each[:2], reverse=True)]


def keep_combinations(evaluated: EvaluatedDocument, checked: Sequence[Checked], path: Path) -> None:
    """Write a document to `path` that is this one with the combinations as its only recipes, each with what was found
    as its note. Raises MoueError where it cannot be written."""
    make_folder(path.parent)
    recipes = tuple(
        one.recipe.with_(note=in_few_words(one.findings)) for one in checked if one.recipe is not None
    )
    save_document(moved_to(evaluated.project.with_(recipes=recipes), path), path)
