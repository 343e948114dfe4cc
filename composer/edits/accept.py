"""A sculpt accepted: a bake that was changed by hand comes back as a corrective of its recipe, or as a new shape.

What the sculptor moved is split in two: the cage that comes nearest to it (`composer.head.nearest_cage`), a shape like
any other, and what is left at the sculpt's own level, kept as detail (`composer.document.kept_detail`). A corrective is
triggered by every cell that the recipe feels, at its weight, and holds the sculpt less the pose without any
corrective; afterwards the recipe's pose at that level is the sculpt. What moved by less than the rounding of a file
is taken as still.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.evaluated_recipe import EvaluatedRecipe
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
"""Of the head's size: a vertex that moved by less did not. A file in metres with six digits rounds by half of it."""
INSIDE = 0.5
"""A vertex counts as a region's where its effective mask is above this."""


@dataclass(frozen=True)
class Moved:
    """One row of the distance table: of the vertices of a region (`all` for every one) those that moved, and how far
    they did, in mm: middle, 95th percentile, most.
    """

    region: str
    vertices: int
    middle_mm: float
    p95_mm: float
    most_mm: float


@dataclass(frozen=True, eq=False)
class Accepted:
    """What became of a sculpt: the `project` (not saved yet) and its `evaluated` state, with a `shape` of this name.

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
    """The document with a sculpt of a recipe's bake, as a corrective named RECIPE_fix, or as a new shape with a recipe
    of its own. A corrective with the same triggers is replaced. `unit` is what the sculpt was read in, for the words.

    Raises MoueError for an unknown recipe, one that moves nothing (no cell could bring a fix in) or has strength 0, a
    sculpt in which nothing moved, or that is of another scale or moved as a whole, and a name that is taken.
    """
    held = evaluated.project.recipe(recipe)
    level = EvaluatedLevel(evaluated, sculpt.level, steps=sculpt.steps)
    before = EvaluatedRecipe(level, held).pose
    _far_from(level, sculpt, before, f"the bake of {recipe!r}", unit)
    if as_shape is None:
        made, name, whose = _corrective(level, held, sculpt, before)
    else:
        made, name, whose = _shape(level, as_shape, sculpt)
    at, left = with_detail(level.of(made), name, whose, sculpt)
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
    """The document with the cage's share of a fix as a corrective."""
    evaluated = level.evaluated
    project, path = evaluated.project, evaluated.project.path
    triggers = triggers_of(recipe)
    if recipe.strength == 0.0:
        raise MoueError(f"recipe {recipe.name!r} has strength 0, so no fix of it would show", path, hint="turn it up")
    if not triggers:
        what = f"recipe {recipe.name!r} moves nothing, so no cell could bring a fix in"
        raise MoueError(what, path, hint="take it as a shape: --as-shape NAME")
    plain = before
    if project.correctives:
        plain = EvaluatedRecipe(level.of(evaluated.again(project.with_(correctives=()))), recipe).pose
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
    """The document with the cage's share of a whole sculpt as a shape, and a recipe of it alone."""
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
    """The level with what is left of a sculpt as detail of it, and how far the recipe is from the sculpt then."""
    left = sculpt.positions - EvaluatedRecipe(level, recipe).pose
    if sculpt.level > 0:
        local = level.frames_at(recipe)
        detail = np.einsum("nij,nj->ni", local, left) / recipe.strength
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
            left = sculpt.positions - EvaluatedRecipe(level, recipe).pose
    return level, float(np.linalg.norm(left, axis=1).max(initial=0.0))


def replaced_delta(project: Project, name: str, delta: NDArray, level: int) -> Project:
    """The project with another delta for a kept shape; of its details only those finer than `level` stay."""
    said = {key: value for key, value in project.shapes.get(name, {}).items() if key not in ("delta", "detail")}
    finer = {k: place for k, place in project.shapes.get(name, {}).get("detail", {}).items() if int(k) > level}
    without = {other: own for other, own in project.shapes.items() if other != name}
    kept = keep_shape(project.with_(shapes=without), name, delta)
    made = {**said, **kept.shapes[name]} | ({"detail": finer} if finer else {})
    return kept.with_(shapes={**kept.shapes, name: made})


def _without_still(moved: NDArray, size: float) -> NDArray[np.float32]:
    still = np.linalg.norm(moved, axis=1) <= STILL * size
    return np.where(still[:, None], 0.0, moved).astype(np.float32)


def _moved(level: EvaluatedLevel, away: NDArray, size: float) -> tuple[Moved, ...]:
    """The distance table: the whole first, then the regions in which anything moved, the furthest first."""
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
    """Save the document with an accepted sculpt at `document`, the bake as it was and a note of what was done beside
    it in STEM_accepted/, under names that nothing has yet; the files' paths, the document's first.

    Raises MoueError where something cannot be written; the document is then whole, as it was before or after.
    """
    document = Path(document)
    folder = document.parent / f"{document.stem}_accepted"
    make_folder(folder)
    stem = file_names([accepted.recipe])[accepted.recipe]
    number = 1
    while any(is_there(folder / f"{stem}_{number}{suffix}") for suffix in (".obj", ".txt")):
        number += 1
    was, note = (folder / f"{stem}_{number}{suffix}" for suffix in (".obj", ".txt"))
    sculpt = accepted.sculpt
    head = EvaluatedLevel(accepted.evaluated, sculpt.level, steps=sculpt.steps).head
    write_mesh(was, mesh_of(head, accepted.before))
    save_document(accepted.project, document)
    words = "\n".join([*told(accepted), f"What was there before lies in {was.name}.", ""])
    write_whole(note, lambda file: file.write(words.encode()))
    return [document, was, note]


def told(accepted: Accepted) -> list[str]:
    """What was done with a sculpt, line by line: what it became, what moved and how far, how near the recipe is."""
    sculpt = accepted.sculpt
    became = f"became the corrective {accepted.shape!r} of recipe {accepted.recipe!r}"
    if accepted.retouched:
        became = f"is the shape {accepted.shape!r} now"
    elif not accepted.corrective:
        became = f"became the shape {accepted.shape!r}, with the recipe {accepted.recipe!r}"
    lines = [f"{sculpt.path.name}, level {sculpt.level}, {len(sculpt.positions):,} vertices, {became}.", ""]
    wide = max(len("region"), *(len(row.region) for row in accepted.moved))
    lines.append(f"{'region':{wide}} {'moved':>9} {'middle mm':>10} {'p95 mm':>10} {'most mm':>10}")
    lines += [f"{row.region:{wide}} {row.vertices:>9,} {row.middle_mm:>10.3f} {row.p95_mm:>10.3f} {row.most_mm:>10.3f}"
              for row in accepted.moved]  # fmt: skip
    whose = "shape" if accepted.retouched else "recipe"
    return [*lines, "", f"The {whose} now gives the sculpt within {accepted.left_mm:.2g} mm.", *accepted.resting]
