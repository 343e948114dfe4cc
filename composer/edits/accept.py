"""Accepting a sculpt: a bake edited by hand becomes a corrective of its recipe, or a new shape.

The sculpted displacement is split in two: the nearest displacement of the cage (`composer.head.nearest_cage`), a shape
like any other, and the remainder at the sculpt's own level, stored as detail (`composer.document.kept_detail`). The
corrective is triggered by all effective cells of the recipe, at their weights. It holds the sculpt minus the pose
without any corrective, so the recipe's pose at that level is then the sculpt. Movements below the rounding of a file
count as zero.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.document.one_save import finish_saves
from composer.document.project import Project
from composer.document.store import save_document
from composer.document.stored import free_place, stored_places
from composer.edits.correctives import set_corrective
from composer.edits.names import free_name
from composer.edits.recipes import add_recipe, free_recipe_name
from composer.edits.sculpt import Sculpt, check_place
from composer.edits.shapes import keep_shape
from composer.errors import MoueError
from composer.formats.mesh import mesh_of
from composer.formats.registry import write_mesh
from composer.geometry.polygons import read_only
from composer.head.atomic import write_whole
from composer.head.file_names import file_names
from composer.head.folders import is_there, make_folder
from composer.head.levels import refine
from composer.head.nearest_cage import nearest_cage
from composer.mixing.corrective import Corrective, triggers_of
from composer.mixing.recipe import ALL, Cell, Recipe

STILL = 2e-6
"""A movement below this fraction of the head's diagonal counts as zero. Six digits in metres round by half of it."""
INSIDE = 0.5
"""A vertex belongs to a region in the distance table if its effective mask is above this. A design choice, no
source.
"""


@dataclass(frozen=True)
class Moved:
    """One row of the distance table: the number of moved vertices in a region (`all` for the whole head), and their
    distances in mm: median, 95th percentile, maximum.
    """

    region: str
    vertices: int
    middle_mm: float
    p95_mm: float
    most_mm: float


@dataclass(frozen=True, eq=False)
class Accepted:
    """An accepted sculpt: the `project` (not saved yet), its `evaluated` state, and the name of the new `shape`.

    The shape is a corrective of `recipe`, or stands alone in it. `before` (n_k, 3) mm is the bake as it was, `moved`
    the table of distances from it, `left_mm` how far the recipe's pose is from the sculpt now, at most. Where the
    shape was there and is `retouched`, `recipe` is its own name, and `resting` are sentences on what rests on it.
    """

    project: Project
    evaluated: EvaluatedDocument
    sculpt: Sculpt
    shape: str
    recipe: str
    corrective: bool
    before: NDArray[np.float64]
    moved: tuple[Moved, ...]
    left_mm: float
    retouched: bool = False
    resting: tuple[str, ...] = ()


def accept(
    evaluated: EvaluatedDocument, recipe: str, sculpt: Sculpt, as_shape: str | None = None, unit: str | None = None
) -> Accepted:
    """Accept a sculpt of a recipe's bake as a corrective named RECIPE_fix, or as a new shape `as_shape` with a recipe
    of its own. A corrective with the same triggers is replaced. `unit` is the sculpt's unit, for error lines.

    Raises MoueError for an unknown recipe, one without effective cells (nothing could trigger a fix) or of strength 0,
    a sculpt in which nothing moved, that is of another scale or moved as a whole, and a name that is taken.
    """
    held = evaluated.project.recipe(recipe)
    level = EvaluatedLevel(evaluated, sculpt.level, steps=sculpt.steps, rules=sculpt.rules)
    before = EvaluatedRecipe(level, held).pose
    _far_from(level, sculpt, before, f"the bake of {recipe!r}", unit)
    if as_shape is None:
        edited, name, whose = _corrective(level, held, sculpt, before)
    else:
        edited, name, whose = _shape(level, as_shape, sculpt)
    at, left = with_detail(level.of(edited), name, whose, sculpt)
    return accepted_from(level, at.evaluated, sculpt, name, before, left, unit, whose.name, as_shape is None)


def accepted_from(
    level: EvaluatedLevel, made: EvaluatedDocument, sculpt: Sculpt, name: str, before: NDArray, left: float,
    unit: str | None = None, recipe: str | None = None, corrective: bool = False, *, retouched: bool = False,
    resting: tuple[str, ...] = (),
) -> Accepted:  # fmt: skip
    """What became of a sculpt, once the document is `made`; its shape's own name where there is no `recipe`.

    Raises MoueError where nothing moved from `before` (n_k, 3) mm, or everything did as a whole.
    """
    what = f"shape {name!r}" if retouched else f"the bake of {recipe or name!r}"
    away = _far_from(level, sculpt, before, what, unit)
    return Accepted(
        made.project, made, sculpt, name, recipe or name, corrective, read_only(before),
        _moved(level, away, level.evaluated.head.diagonal), left, retouched, resting,
    )  # fmt: skip


def _far_from(
    level: EvaluatedLevel, sculpt: Sculpt, before: NDArray, what: str, unit: str | None
) -> NDArray[np.float64]:
    """(n_k,) mm from the pose before to the sculpt. Raises MoueError where it is the same, or another mesh's."""
    head = level.evaluated.head
    check_place(sculpt, before, level.polygons, head.diagonal, unit or head.unit)
    away = np.linalg.norm(sculpt.positions - before, axis=1)
    if away.max(initial=0.0) <= STILL * head.diagonal:
        raise MoueError(f"is {what} as it was: nothing moved", sculpt.path)
    return np.asarray(away)


def _corrective(
    level: EvaluatedLevel, recipe: Recipe, sculpt: Sculpt, before: NDArray
) -> tuple[EvaluatedDocument, str, Recipe]:
    """The document with the cage part of a fix as a corrective, its name and its recipe."""
    evaluated = level.evaluated
    project, path = evaluated.project, evaluated.project.path
    triggers = triggers_of(recipe)
    if recipe.strength == 0.0:
        raise MoueError(f"recipe {recipe.name!r} has strength 0, so a fix would not show", path, hint="raise it")
    if not triggers:
        what = f"recipe {recipe.name!r} moves nothing, so no cell could trigger a fix"
        raise MoueError(what, path, hint="accept it as a shape: --as-shape NAME")
    plain = before
    if project.correctives or recipe.contact:  # a fix comes in before what goes through is parted
        alone = level.of(evaluated.again(project.with_(correctives=())))
        plain = EvaluatedRecipe(alone, replace(recipe, contact=False)).pose
    delta = cage_of(level, (sculpt.positions - plain) / recipe.strength)
    same = next((one.shape for one in project.correctives if set(one.triggers) == set(triggers)), None)
    if same is not None:
        name = same
        project = replaced_delta(project, name, delta, sculpt.level)
    else:
        taken = [*evaluated.head.shape_names, evaluated.head.neutral_name, *project.shapes]
        name = f"{recipe.name}_fix"
        name = free_name(name, taken) if name.casefold() in {each.casefold() for each in taken} else name
        project = keep_shape(project, name, delta, taken)
    return evaluated.again(set_corrective(project, Corrective(name, triggers))), name, recipe


def _shape(level: EvaluatedLevel, name: str, sculpt: Sculpt) -> tuple[EvaluatedDocument, str, Recipe]:
    """The document with the cage part of a sculpt as a shape, its name, and a recipe of it alone."""
    evaluated, rest = level.evaluated, EvaluatedRecipe(level, Recipe("rest")).pose
    taken = [*evaluated.head.shape_names, evaluated.head.neutral_name]
    project = keep_shape(evaluated.project, name, cage_of(level, sculpt.positions - rest), taken)
    recipes = [recipe.name for recipe in project.recipes]
    recipe = Recipe(free_recipe_name(project, name) if name in recipes else name, (Cell(ALL, name, 1.0),))
    return evaluated.again(add_recipe(project, recipe)), name, recipe


def cage_of(level: EvaluatedLevel, moved: NDArray) -> NDArray[np.float32]:
    """(n, 3) float32 mm, the displacement of the cage that comes nearest to one at the sculpt's level."""
    return _without_still(nearest_cage(moved, level.steps), level.evaluated.head.diagonal)


def with_detail(
    level: EvaluatedLevel, name: str, recipe: Recipe, sculpt: Sculpt
) -> tuple[EvaluatedLevel, float]:  # fmt: skip
    """The level with the remainder of a sculpt as detail, and the largest distance of the pose from it in mm."""
    remainder = sculpt.positions - EvaluatedRecipe(level, recipe).pose
    if sculpt.level > 0:
        detail = level.frames.into(level.base(recipe), remainder) / recipe.strength
        kept = _without_still(detail, level.evaluated.head.diagonal)
        if kept.any():
            project = level.evaluated.project
            place = free_place(f"{name}_level{sculpt.level}", "shapes", [*stored_places(project), *project.stored])
            details = {**project.shapes[name].get("detail", {}), str(sculpt.level): place}
            said = {**project.shapes[name], "detail": details}
            project = project.with_(
                shapes={**project.shapes, name: said}, stored={**project.stored, place: read_only(kept)}
            )
            level = level.of(level.evaluated.again(project))
            remainder = sculpt.positions - EvaluatedRecipe(level, recipe).pose
    return level, float(np.linalg.norm(remainder, axis=1).max(initial=0.0))


def replaced_delta(project: Project, name: str, delta: NDArray, level: int) -> Project:
    """The project with another delta for a kept shape; of its details only those finer than `level` stay."""
    said = {key: value for key, value in project.shapes.get(name, {}).items() if key not in ("delta", "detail")}
    finer = {k: place for k, place in project.shapes.get(name, {}).get("detail", {}).items() if int(k) > level}
    without = {other: own for other, own in project.shapes.items() if other != name}
    kept = keep_shape(project.with_(shapes=without), name, delta)
    replaced = {**said, **kept.shapes[name]} | ({"detail": finer} if finer else {})
    return kept.with_(shapes={**kept.shapes, name: replaced})


def _without_still(moved: NDArray, size: float) -> NDArray[np.float32]:
    unmoved = np.linalg.norm(moved, axis=1) <= STILL * size
    return np.where(unmoved[:, None], 0.0, moved).astype(np.float32)


def _moved(level: EvaluatedLevel, away: NDArray, size: float) -> tuple[Moved, ...]:
    """The distance table: the whole head first, then the regions in which anything moved, the largest maximum first."""
    masks = {ALL: np.ones(len(away), dtype=bool)}
    masks |= {name: refine(mask, level.steps) > INSIDE for name, mask in level.evaluated.effective.items()}
    rows = []
    for name, inside in masks.items():
        far = away[inside & (away > STILL * size)]
        if len(far):
            middle, most = np.percentile(far, [50, 95])
            rows.append(Moved(name, len(far), float(middle), float(most), float(far.max())))
    return (rows[0], *sorted(rows[1:], key=lambda row: -row.most_mm))


def save_accepted(accepted: Accepted, document: Path | str) -> list[Path]:
    """Save the document with an accepted sculpt at `document`. The bake before the edit and a report go to
    STEM_accepted/ beside it, under new names. Returns the files' paths, the document's first.

    All of it is one save. Raises MoueError where a file cannot be written; then nothing is.
    """
    document = Path(document)
    finish_saves(document)
    folder = document.parent / f"{document.stem}_accepted"
    make_folder(folder)
    stem = file_names([accepted.recipe])[accepted.recipe]
    number = 1
    while any(is_there(folder / f"{stem}_{number}{suffix}") for suffix in (".obj", ".txt")):
        number += 1
    was, note = (folder / f"{stem}_{number}{suffix}" for suffix in (".obj", ".txt"))
    sculpt = accepted.sculpt
    head = EvaluatedLevel(accepted.evaluated, sculpt.level, steps=sculpt.steps).head
    words = "\n".join([*told(accepted), f"What was there before lies in {was.name}.", ""])

    def beside() -> None:
        write_mesh(was, mesh_of(head, accepted.before))
        write_whole(note, lambda file: file.write(words.encode()))

    save_document(accepted.project, document, beside=beside)
    return [document, was, note]


def told(accepted: Accepted) -> list[str]:
    """The report on a sculpt, line by line: what it became, the distance table, and how near the recipe is."""
    sculpt = accepted.sculpt
    became = f"became the corrective {accepted.shape!r} of recipe {accepted.recipe!r}"
    if accepted.retouched:
        became = f"is the shape {accepted.shape!r} now"
    elif not accepted.corrective:
        became = f"became the shape {accepted.shape!r}, with the recipe {accepted.recipe!r}"
    lines = [f"{sculpt.path.name}, level {sculpt.level}, {len(sculpt.positions):,} vertices, {became}.", ""]
    wide = max(len("region"), *(len(row.region) for row in accepted.moved))
    lines.append(f"{'region':{wide}} {'moved':>9} {'median mm':>10} {'p95 mm':>10} {'max mm':>10}")
    lines += [f"{row.region:{wide}} {row.vertices:>9,} {row.middle_mm:>10.3f} {row.p95_mm:>10.3f} {row.most_mm:>10.3f}"
              for row in accepted.moved]  # fmt: skip
    whose = "shape" if accepted.retouched else "recipe"
    return [*lines, "", f"The {whose} now gives the sculpt within {accepted.left_mm:.2g} mm.", *accepted.resting]
