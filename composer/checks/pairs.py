"""Pairs that collide although each is clean: recipes that are played together, or cells of one recipe.

Why it matters: an animator plays targets together, and a jaw that opens under pressed lips is in no single one of
them. A pair's pose is N + d1 + d2, the sum of two displacements, which is what two baked targets give. Its findings
are those of collisions (faces turned over, folds, lips, lids, teeth) that neither of the two has alone. A pair is
looked at only where both move something: elsewhere it is what one of them does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.checked import Checked
from composer.checks.finding import Finding
from composer.checks.lids import LIDS
from composer.checks.lips import LIPS, lip_zones
from composer.checks.mouth_parts import MOUTH_PARTS, mouth_parts, skin_about
from composer.checks.parts_of_face import eyeballs
from composer.checks.registry import COLLISIONS, run_checks
from composer.checks.subject import CheckSubject, HeadFacts
from composer.checks.sweep import is_news, strongest
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.mixing.linear import moved
from composer.mixing.recipe import ALL, Cell, Recipe
from composer.mixing.sources import Source
from composer.progress import Progress


@dataclass(frozen=True, eq=False)
class One:
    """One of a pair: its name, displacement (n, 3) mm, the strength of its findings alone, and the zones
    (indices into `zones`) in which it does something."""

    name: str
    delta: NDArray[np.float64]
    known: dict[tuple[str, str], float]
    zones: frozenset[int]


def pair_recipes(
    evaluated: EvaluatedDocument,
    recipes: Sequence[Recipe],
    *,
    progress: Progress | None = None,
    facts: HeadFacts | None = None,
) -> Iterator[Checked]:
    """Every pair of recipes that collides although neither does alone, in the recipes' order.

    Raises MoueError for a recipe that cannot be mixed.
    """
    yield from (one for one in every_pair(evaluated, recipes, progress=progress, facts=facts) if one.findings)


def every_pair(
    evaluated: EvaluatedDocument,
    recipes: Sequence[Recipe],
    *,
    progress: Progress | None = None,
    facts: HeadFacts | None = None,
) -> Iterator[Checked]:
    """Every pair of recipes, with what only the two together show, which may be nothing. Raises as `pair_recipes`."""
    facts = facts or HeadFacts(evaluated.head)
    yield from _pairs(evaluated, facts, {recipe.name: recipe for recipe in recipes}, progress)


def pair_cells(
    evaluated: EvaluatedDocument,
    recipes: Sequence[Recipe],
    *,
    progress: Progress | None = None,
    facts: HeadFacts | None = None,
) -> Iterator[Checked]:
    """Every pair of cells of the same recipe that collides although neither does alone."""
    facts = facts or HeadFacts(evaluated.head)
    for i, recipe in enumerate(recipes):
        alone = {_named(cell): recipe.with_(cells=(cell,)) for cell in recipe.cells if cell.weight != 0.0}

        def part(done: float, words: str, i: int = i) -> None:
            if progress is not None:
                progress((i + done) / len(recipes), words)

        yield from (one for one in _pairs(evaluated, facts, alone, part, f"{recipe.name}: ") if one.findings)


def zones(facts: HeadFacts) -> list[tuple[tuple[Check, ...], NDArray[np.int32] | None]]:
    """The checks that look at a zone, and its vertices (k,): lips, each eye, the teeth; None is each face by itself."""
    found: list[tuple[tuple[Check, ...], NDArray[np.int32] | None]] = []
    lips = lip_zones(facts)
    if not isinstance(lips, str):
        found.append(((LIPS,), lips.vertices))
    neutral = facts.head.neutral
    for ball in eyeballs(facts):
        middle = neutral[ball.vertices].mean(axis=0)
        radius = np.linalg.norm(neutral[ball.vertices] - middle, axis=1).max()
        near = np.flatnonzero(np.linalg.norm(neutral - middle, axis=1) < 2.0 * radius)
        found.append(((LIDS,), near.astype(np.int32)))
    parts = mouth_parts(facts)
    if parts:
        hard = np.concatenate([part.vertices for part in parts])
        found.append(((MOUTH_PARTS,), np.union1d(hard, skin_about(facts, parts).ravel()).astype(np.int32)))
    everywhere = tuple(check for check in COLLISIONS if check not in (LIPS, LIDS, MOUTH_PARTS))
    return [*found, (everywhere, None)]


def _pairs(
    evaluated: EvaluatedDocument,
    facts: HeadFacts,
    recipes: dict[str, Recipe],
    progress: Progress | None,
    before: str = "",
) -> Iterator[Checked]:
    where = facts.kept("zones", facts.head, lambda: zones(facts))
    ones = []
    total = max(len(recipes) * (len(recipes) + 1) // 2, 1)
    for i, (name, recipe) in enumerate(recipes.items()):
        if progress is not None:
            progress(i / total, f"{before}{name} alone")
        delta = EvaluatedRecipe.of(evaluated, recipe).displacement
        if np.isfinite(delta).all():  # one that holds no numbers is told by the checks of the recipe
            ones.append(_one(evaluated, facts, name, delta, where))
    for done, (a, b) in enumerate(combinations(ones, 2), start=len(recipes)):
        if progress is not None:
            progress(done / total, f"{before}{a.name} with {b.name}")
        checks = [check for i in sorted(a.zones & b.zones) for check in where[i][0]]
        subject = _subject(evaluated, facts, f"{before}{a.name} with {b.name}", (a, b))
        known = strongest_of(a.known, b.known)
        found = run_checks(subject, list(dict.fromkeys(checks))) if checks else []
        yield Checked(subject.name, subject.pose, [_together(one) for one in found if is_news(one, known)], "pair")


def _one(
    evaluated: EvaluatedDocument,
    facts: HeadFacts,
    name: str,
    delta: NDArray,
    where: list[tuple[tuple[Check, ...], NDArray | None]],
) -> One:
    does = np.abs(delta).max(axis=1) > facts.limits.empty_mm
    inside = frozenset(i for i, (_, zone) in enumerate(where) if does.any() if zone is None or does[zone].any())
    alone = One(name, delta, {}, inside)
    return replace(alone, known=strongest(run_checks(_subject(evaluated, facts, name, (alone,)), COLLISIONS)))


def _subject(evaluated: EvaluatedDocument, facts: HeadFacts, name: str, parts: Sequence[One]) -> CheckSubject:
    sources = tuple(Source(Cell(ALL, one.name, 1.0), one.delta) for one in parts)
    pose = moved(evaluated.head.neutral, np.sum([one.delta for one in parts], axis=0))
    return CheckSubject(facts, pose, name, masks=evaluated.effective, given=sources)


def strongest_of(*known: dict[tuple[str, str], float]) -> dict[tuple[str, str], float]:
    """The largest value of each code at each place in several tables."""
    found: dict[tuple[str, str], float] = {}
    for table in known:
        for key, value in table.items():
            found[key] = max(found.get(key, 0.0), value)
    return found


def _together(finding: Finding) -> Finding:
    return replace(finding, words=f"together only: {finding.words}")


def _named(cell: Cell) -> str:
    return f"{cell.region} x {cell.shape}" + (" mirrored" if cell.mirrored else "")
