"""What is wrong on the way to a recipe, and not at its end: pops, and findings that only appear in between.

Why it matters: a lid that closes in a straight line cuts through the eyeball half way, and who looks at the open and
at the shut eye sees nothing. A recipe's strength is swept from 0 to its own; so is each of its cells that does not
move in a straight line (it turns, has in-betweens, or triggers a corrective), or every cell where that is wanted.
On the way only those checks run whose findings can come and go: faces turned over, folds, lips, lids, teeth.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from composer.checks.checked import Checked
from composer.checks.finding import Finding
from composer.checks.of_document import broken, subject_of
from composer.checks.places import located
from composer.checks.pops import find_pops
from composer.checks.registry import COLLISIONS, run_checks
from composer.checks.subject import CheckSubject, HeadFacts
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.edits.trials import sweep
from composer.errors import MoueError
from composer.mixing.linear import moved
from composer.mixing.recipe import Cell, Recipe
from composer.progress import Progress

MORE = 1.25  # a finding on the way that is also there at the end has to be this much larger to be told
FEWEST = 4


@dataclass(frozen=True, eq=False)
class Way:
    """One sweep: what is swept in words, the shares of the way, and the recipe and pose (n, 3) mm at each."""

    words: str
    shares: NDArray[np.float64]
    recipes: list[Recipe]
    pose: Callable[[int], NDArray]


def sweep_recipes(
    evaluated: EvaluatedDocument,
    recipes: Sequence[Recipe],
    steps: int,
    *,
    cells: bool = False,
    progress: Progress | None = None,
    facts: HeadFacts | None = None,
) -> Iterator[Checked]:
    """What is found only on the way, each place once where it is worst, in `steps` (at least 4) even steps a sweep.

    With `cells` every cell is swept, not only those that do not move in a straight line. Raises MoueError for fewer
    steps or a recipe that cannot be mixed.
    """
    if steps < FEWEST:
        raise MoueError(f"a sweep of {steps} steps shows nothing", hint=f"give {FEWEST} or more, such as --sweep 9")
    facts = facts or HeadFacts(evaluated.head)
    for i, recipe in enumerate(recipes):
        ways = ways_of(evaluated, recipe, steps, cells)
        for j, way in enumerate(ways):
            if progress is not None:
                progress((i + j / len(ways)) / len(recipes), f"sweeping {way.words}")
            yield from check_way(evaluated, facts, way)


def ways_of(evaluated: EvaluatedDocument, recipe: Recipe, steps: int, cells: bool = False) -> list[Way]:
    """The sweeps of a recipe: its strength first, then its cells."""
    neutral = evaluated.head.neutral
    whole = EvaluatedRecipe.of(evaluated, recipe).displacement
    shares = np.linspace(0.0, 1.0, steps)
    scaled = [recipe.with_(strength=recipe.strength * float(share)) for share in shares]
    found = [Way(recipe.name, shares, scaled, lambda k: moved(neutral, shares[k] * whole))]
    for cell in recipe.cells:
        if cell.weight == 0.0 or not (cells or is_bent(evaluated, cell)):
            continue
        low, high = sorted((0.0, cell.weight))
        swept = sweep(recipe, cell.key, low, high, steps)
        swept = swept if cell.weight > 0.0 else swept[::-1]
        words = f"{recipe.name}: {cell.region} x {cell.shape}" + (" mirrored" if cell.mirrored else "")
        found.append(Way(words, shares, swept, _poser(evaluated, swept)))
    return found


def is_bent(evaluated: EvaluatedDocument, cell: Cell) -> bool:
    """Whether a cell does not move everything in straight lines: a hinge, in-betweens, a trigger of a corrective."""
    shape = evaluated.head.shape(cell.shape)
    return bool(shape.inbetweens) or cell.shape in evaluated.hinges or evaluated.correctives.triggered_by(cell.key)


def check_way(evaluated: EvaluatedDocument, facts: HeadFacts, way: Way) -> Iterator[Checked]:
    """What one sweep shows that neither of its ends does."""
    poses = [way.pose(k) for k in range(len(way.shares))]
    bad = next((k for k, pose in enumerate(poses) if not np.isfinite(pose).all()), None)
    if bad is not None:
        yield Checked(way.words, evaluated.head.neutral, [broken(MoueError(f"{way.words} holds no numbers"))], "sweep")
        return
    subjects = [subject_of(evaluated, facts, r, p) for r, p in zip(way.recipes, poses, strict=True)]
    ends = [run_checks(subject, COLLISIONS) for subject in (subjects[0], subjects[-1])]
    known = strongest(ends[0] + ends[1])
    worst: dict[tuple[str, str], tuple[float, int]] = {}
    found: dict[int, list[Finding]] = {}
    for k in range(1, len(subjects) - 1):
        found[k] = [one for one in run_checks(subjects[k], COLLISIONS) if is_news(one, known)]
        for one in found[k]:
            key = (one.code, one.where)
            worst[key] = max(worst.get(key, (0.0, 0)), (one.value, k))
    pops = find_pops(way.words, way.shares.tolist(), poses, facts.limits)
    for k, findings in _pops_by_step(pops, subjects):
        found.setdefault(k, []).extend(findings)
        for one in findings:
            key = (one.code, one.where)
            worst[key] = max(worst.get(key, (0.0, 0)), (one.value, k))
    for k in sorted(found):
        here = [one for one in found[k] if worst.get((one.code, one.where), (0.0, -1))[1] == k]
        if here:
            name = f"{way.words} at {way.shares[k] * 100.0:.0f} percent"
            ordered = sorted(here, key=lambda one: one.rank)
            yield Checked(name, poses[k], [_on_the_way(one) for one in ordered], "sweep", way.recipes[k])


def strongest(findings: Sequence[Finding]) -> dict[tuple[str, str], float]:
    """The largest value of each code at each place."""
    known: dict[tuple[str, str], float] = {}
    for one in findings:
        key = (one.code, one.where)
        known[key] = max(known.get(key, 0.0), one.value)
    return known


def is_news(finding: Finding, known: dict[tuple[str, str], float]) -> bool:
    """Whether a finding is no note and is not already known, or is much worse than what is known."""
    before = known.get((finding.code, finding.where))
    return finding.severity != "note" and (before is None or finding.value > MORE * before)


def _poser(evaluated: EvaluatedDocument, recipes: list[Recipe]) -> Callable[[int], NDArray]:
    return lambda k: EvaluatedRecipe.of(evaluated, recipes[k]).pose


def _pops_by_step(pops: Sequence[Finding], subjects: Sequence[CheckSubject]) -> list[tuple[int, list[Finding]]]:
    """The pops of a sweep with the step at which each is over, placed on the pose there."""
    by: dict[int, list[Finding]] = {}
    for one in pops:
        here = subjects[one.step]
        by.setdefault(one.step, []).append(located(replace(one, where=here.name), here))
    return sorted(by.items())


def _on_the_way(finding: Finding) -> Finding:
    if finding.code.startswith("sweep."):
        return finding
    return replace(finding, words=f"on the way only: {finding.words}")
