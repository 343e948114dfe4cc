"""What became of a document whose head was swapped: compared with the one before, in sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.carried_project import without_source
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.fitting.carry_head import HeadCarrier
from composer.head.places import Landmarks

MOST_NAMED = 6
"""Names that a sentence lists before it counts the others. A design choice, no source."""


@dataclass(frozen=True, eq=False)
class Swapped:
    """A document with another head: the `project`, not saved, and its `evaluated` state; the `folder` of the carried
    library; a line of what is `kept` as it was, and sentences on all that `changed`."""

    project: Project
    evaluated: EvaluatedDocument
    folder: Path
    kept: str
    changed: tuple[str, ...]


def swapped(
    before: EvaluatedDocument, after: EvaluatedDocument, folder: Path, carrier: HeadCarrier,
    finer: Mapping[int, NDArray],
) -> Swapped:  # fmt: skip
    """The result of a swap, from the document before and after it, what carried its library, and the new head's own
    positions at finer levels."""
    changed = [
        *_shapes(before, after), *_regions(before, carrier), *_recipes(before, after), *_landmarks(before, after),
        *_hinges(before, after), *_levels(before, finer), *_looks(before, after), *_earlier(after),
    ]  # fmt: skip
    return Swapped(after.project, after, folder, _kept(before, after), tuple(changed))


def _kept(before: EvaluatedDocument, after: EvaluatedDocument) -> str:
    """What is the same by number: shapes carried, regions, recipes, correctives and landmarks that are as before."""
    old, new = before.project, after.project
    sources = {region.name: region.source for region in new.regions}
    counts = (
        (len(after.library.shapes), "shape"),
        (sum(sources.get(region.name) == region.source for region in old.regions), "region"),
        (sum(recipe in new.recipes for recipe in old.recipes), "recipe"),
        (sum(one in new.correctives for one in old.correctives), "corrective"),
        (len(_same_marks(before.head.landmarks, after.head.landmarks)), "landmark"),
    )
    return ", ".join(f"{count:,} {word}{'s' * (count != 1)}" for count, word in counts)


def _shapes(before: EvaluatedDocument, after: EvaluatedDocument) -> list[str]:
    lost = [name for name in before.head.shape_names if name not in after.head.shape_index]
    return [f"Lost: {_named('shape', lost)}."] if lost else []


def _regions(before: EvaluatedDocument, carrier: HeadCarrier) -> list[str]:
    stored = without_source(before, carrier.fitted)
    if not stored:
        return []
    words = "the old head's motion, groups or texture coordinates made it"
    return [f"{_named('region', stored)}: {words}; the mask is kept as it was, as a painted one."]


def _recipes(before: EvaluatedDocument, after: EvaluatedDocument) -> list[str]:
    """Recipes and correctives that are not the same, or cannot be mixed."""
    differ = [one.name for one in before.project.recipes if one not in after.project.recipes]
    differ += [one.shape for one in before.project.correctives if one not in after.project.correctives]
    return [f"Changed: {_named('recipe', differ)}."] if differ else []


def _landmarks(before: EvaluatedDocument, after: EvaluatedDocument) -> list[str]:
    old, new = before.head.landmarks, after.head.landmarks
    if old is None:
        return []
    same = _same_marks(old, new)
    moved = [name for name in (*old.points, *old.curves) if name not in same]
    if not moved:
        return []
    return [f"{_named('landmark', moved)}: given by position on the old head, now at the nearest place of its skin."]


def _same_marks(old: Landmarks | None, new: Landmarks | None) -> list[str]:
    """Names of the points and curves that are at the same vertices or places of triangles on both heads."""
    if old is None or new is None:
        return []
    points = [name for name, place in old.points.items() if new.points.get(name) == place]
    curves = [
        name for name, curve in old.curves.items()
        if name in new.curves and np.array_equal(np.asarray(new.curves[name], object), np.asarray(curve, object))
    ]  # fmt: skip
    return points + curves


def _hinges(before: EvaluatedDocument, after: EvaluatedDocument) -> list[str]:
    turned = [
        f"{name} {before.hinges[name].angle_deg:.1f} to {after.hinges[name].angle_deg:.1f} degrees"
        for name in before.hinges if name in after.hinges
    ]  # fmt: skip
    return [f"Hinges are those of the new head: {', '.join(turned)}."] if turned else []


def _levels(before: EvaluatedDocument, finer: Mapping[int, NDArray]) -> list[str]:
    return [
        f"Level {level}: the new head has no detail of its own there; what shapes add to it is kept."
        for level in sorted(before.project.levels) if level not in finer
    ]  # fmt: skip


def _looks(before: EvaluatedDocument, after: EvaluatedDocument) -> list[str]:
    lost = [
        words for words, old, new in (
            ("vertex colours", before.library.colours, after.library.colours),
            ("texture coordinates", before.library.uv, after.library.uv),
            ("face groups", before.library.groups or None, after.library.groups or None),
            ("materials", before.library.materials or None, after.library.materials or None),
        ) if old is not None and new is None
    ]  # fmt: skip
    return [f"Not taken over: {', '.join(lost)}."] if lost else []


def _earlier(after: EvaluatedDocument) -> list[str]:
    """Recipes that use earlier heads: they lead from the new neutral now."""
    heads = {shape.name for shape in after.head.shapes if shape.is_head}
    users = [one.name for one in after.project.recipes if any(cell.shape in heads for cell in one.cells)]
    return [f"{_named('recipe', users)}: earlier heads are mixed over the new head now."] if users else []


def _named(word: str, names: list[str]) -> str:
    """The kind and the names, as many as fit: `Regions a, b and 3 more`."""
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return f"{word.capitalize()}{'s' * (len(names) > 1)} {', '.join(names[:MOST_NAMED])}{more}"
