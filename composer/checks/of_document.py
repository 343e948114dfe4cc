"""All checks on a document whose head is open: on what it holds, and on each of its recipes.

Everything here can run on a thread of its own, with facts of its own: it changes nothing of the document. A
`progress` that raises stops it between two checks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from numpy.typing import NDArray

from composer.checks.checked import Checked
from composer.checks.document_subject import DocumentSubject
from composer.checks.finding import Finding
from composer.checks.registry import CHECKS, located_checks, run_document_checks
from composer.checks.subject import CheckSubject, HeadFacts
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.errors import MoueError
from composer.mixing.recipe import Recipe
from composer.progress import Progress


def check_recipes(
    evaluated: EvaluatedDocument,
    recipes: Sequence[Recipe],
    progress: Progress | None = None,
    facts: HeadFacts | None = None,
) -> Iterator[tuple[Recipe, NDArray, list[Finding]]]:
    """Each recipe with its pose (n, 3) mm and what the checks find on it, worst first, one after the other.

    `facts` of the same head may be given to be used again. A recipe whose pose holds no numbers gets the neutral and
    a finding that says so. Raises MoueError for a recipe that cannot be mixed.
    """
    facts = facts or HeadFacts(evaluated.head)
    for i, recipe in enumerate(recipes):
        pose = EvaluatedRecipe.of(evaluated, recipe).pose
        try:
            subject = subject_of(evaluated, facts, recipe, pose)
        except MoueError as error:
            yield recipe, evaluated.head.neutral, [broken(error)]
            continue
        found: list[Finding] = []
        for j, check in enumerate(CHECKS):
            if progress is not None:
                progress((i + j / len(CHECKS)) / len(recipes), f"{recipe.name}: {check.title}")
            found += located_checks(subject, (check,))
        yield recipe, pose, sorted(found, key=lambda finding: finding.rank)


def check_document(evaluated: EvaluatedDocument, facts: HeadFacts | None = None) -> Checked:
    """What the checks find on the document's head, shapes and masks, seen on the neutral."""
    regions = evaluated.project.regions
    subject = DocumentSubject(
        facts or HeadFacts(evaluated.head), evaluated.raw, {region.name: region.set for region in regions},
        frozenset(region.name for region in regions if region.locked),
    )  # fmt: skip
    return Checked(evaluated.project.path.stem, evaluated.head.neutral, run_document_checks(subject), "document")


def subject_of(evaluated: EvaluatedDocument, facts: HeadFacts, recipe: Recipe, pose: NDArray) -> CheckSubject:
    """A recipe's pose (n, 3) mm as what the checks look at. Raises MoueError where it holds no numbers."""
    contact = evaluated.contact if recipe.contact else None
    masks, mirror = evaluated.effective, evaluated.mirror
    return CheckSubject(facts, pose, recipe.name, recipe, masks, mirror, evaluated.mixer, contact=contact)


def broken(error: MoueError) -> Finding:
    """The finding of a pose that cannot be looked at."""
    return Finding("pose.broken", "error", error.what, "look which of its shapes is broken", where="")
