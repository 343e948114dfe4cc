"""Adding, painting, renaming, duplicating, deleting and splitting regions, in all recipes that use them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from composer.document.masks_of import whole_source
from composer.document.project import Project, Region
from composer.document.stored import free_place, is_inside, stored_places
from composer.edits.clips import with_region_renamed
from composer.edits.correctives import with_trigger_region
from composer.edits.names import check_new_region, free_name
from composer.edits.sides import other_side
from composer.errors import MoueError
from composer.geometry.polygons import read_only
from composer.head.symmetry import MirrorMap
from composer.mixing.recipe import Cell, Recipe
from masks.combine import split_sides
from masks.mask import checked_values

Made = TypeVar("Made")


def add_region(project: Project, region: Region, values: NDArray | None = None) -> Project:
    """The project with another region at the end, painted with the mask `values` (n,) in [0, 1] if given.

    Raises MoueError where its name is taken or not allowed, and as `set_mask`.
    """
    check_new_region(project, region.name)
    added = project.with_(regions=(*project.regions, region))
    return added if values is None else set_mask(added, region.name, values)


def set_mask(project: Project, name: str, values: NDArray) -> Project:
    """The project with `values` (n,) in [0, 1] as a region's raw mask, kept in the document as float32.

    The region's source becomes a file of its own. Raises MoueError for an unknown region, or values that are no mask.
    """
    region = project.region(name)
    try:
        mask = read_only(checked_values(values, word=f"mask of region {name!r}").astype(np.float32))
    except MoueError as error:
        raise MoueError(str(error), project.path) from None
    place = _own_place(project, region)
    painted = replace(region, source={"from": "file", "file": place})
    return _replaced(project, name, painted).with_(stored={**project.stored, place: mask})


def rename_region(project: Project, name: str, to: str) -> Project:
    """The region under another name, in every recipe too. Raises MoueError where the name is taken or not allowed."""
    region = project.region(name)
    if name == to:
        return project
    others = project.with_(regions=tuple(r for r in project.regions if r.name != name))
    check_new_region(others, to)
    renamed = _replaced(project, name, replace(region, name=to, source=whole_source(region)))
    return _in_recipes(renamed, name, [to])


def duplicate_region(project: Project, name: str) -> tuple[Project, str]:
    """The project with a copy of a region after it, used in no recipe, and the copy's name. Raises MoueError for an
    unknown region.
    """
    region = project.region(name)
    copy_name = free_name(name, [r.name for r in project.regions])
    copy = replace(region, name=copy_name, source=whole_source(region), number=None, colour=None)
    at = project.regions.index(region) + 1
    return project.with_(regions=(*project.regions[:at], copy, *project.regions[at:])), copy_name


def recipes_with_region(project: Project, name: str) -> list[str]:
    """Names of the recipes that have cells or a row of a region, in order; a deletion changes these."""
    return [recipe.name for recipe in project.recipes if name in recipe.regions]


def delete_region(project: Project, name: str) -> Project:
    """The project without a region, without the correctives that it triggers, and its recipes without its cells and
    rows (see `recipes_with_region`).

    Raises MoueError for an unknown region.
    """
    project.region(name)
    remaining = _in_recipes(project.with_(regions=tuple(r for r in project.regions if r.name != name)), name, [])
    return _without_unused(remaining, project)


def set_locked(project: Project, name: str, locked: bool) -> Project:
    """The region locked or unlocked; a locked one keeps its raw mask. Raises MoueError for an unknown region."""
    region = project.region(name)
    return project if region.locked == locked else _replaced(project, name, replace(region, locked=locked))


def set_region_set(project: Project, name: str, set_name: str) -> Project:
    """The region in another set, with which it then shares. Raises MoueError for an unknown region or an empty name."""
    region = project.region(name)
    if not set_name.strip():
        raise MoueError("a set of regions needs a name", project.path, hint='the default set is "face"')
    return project if region.set == set_name else _replaced(project, name, replace(region, set=set_name.strip()))


def split_region(project: Project, name: str, values: NDArray, side_mm: NDArray, ramp_mm: float) -> Project:
    """The region cut into NAME_left and NAME_right, in its place, in its set and lock, in every recipe. The
    left half keeps its number and colour.

    `values` (n,) is its raw mask, `side_mm` (n,) the signed distance of each vertex from the midline, positive on
    the subject's left, `ramp_mm` how wide the sides go over (`masks.combine.split_sides`). The halves sum to the
    whole, and every recipe gives the pose that it gave. Raises MoueError for an unknown region, a half whose name
    is taken, or arrays that do not fit.
    """
    region = project.region(name)
    names = [f"{name}_left", f"{name}_right"]
    others = project.with_(regions=tuple(r for r in project.regions if r.name != name))
    for half in names:
        check_new_region(others, half)
    halves = _masks(project, lambda: split_sides(values, side_mm, ramp_mm))
    at = project.regions.index(region)
    left = replace(region, name=names[0], source={"from": "file"})
    made = [left, replace(left, name=names[1], number=None, colour=None)]
    cut = project.with_(regions=(*project.regions[:at], *made, *project.regions[at + 1 :]))
    for half, mask in zip(names, halves, strict=True):
        cut = set_mask(cut, half, mask)
    return _without_unused(_in_recipes(cut, name, names), project)


def mirror_mask(project: Project, name: str, values: NDArray, mirror: MirrorMap) -> Project:
    """The project with the mirror image of a region's mask on its partner (`composer.edits.sides.other_side`).

    `values` (n,) is this region's raw mask, `mirror` the head's mirror map. A missing partner is added after this
    region; a region without a side is mirrored itself. Raises MoueError for an unknown region, or arrays that do not
    fit.
    """
    region = project.region(name)
    image = _masks(project, lambda: mirror.values(checked_values(values, mirror.n_vertices)))
    other = other_side(name) or name
    if all(each.name != other for each in project.regions):
        check_new_region(project, other)
        at = project.regions.index(region) + 1
        partner_region = Region(other, {"from": "file"}, region.set, region.locked)
        project = project.with_(regions=(*project.regions[:at], partner_region, *project.regions[at:]))
    return set_mask(project, other, image)


def _masks(project: Project, make: Callable[[], Made]) -> Made:
    try:
        return make()
    except MoueError as error:
        raise MoueError(str(error), project.path) from None


def _replaced(project: Project, name: str, region: Region) -> Project:
    return project.with_(regions=tuple(region if old.name == name else old for old in project.regions))


def _own_place(project: Project, region: Region) -> str:
    """The place of a region's painted mask: the old one, unless it is shared, outside, or no array of the document."""
    held = region.source.get("file") if region.source.get("from") == "file" else None
    elsewhere = stored_places(project.with_(regions=tuple(r for r in project.regions if r is not region)))
    if isinstance(held, str) and held.endswith(".npy") and is_inside(held) and held not in elsewhere:
        return held
    return free_place(region.name, "masks", [*stored_places(project), *project.stored])


def _in_recipes(project: Project, name: str, into: list[str]) -> Project:
    """The project with a region's cells and rows given to the regions `into` in every recipe and clip, or removed if
    there are none. Its triggers of correctives go to the first of them, or the correctives are removed.
    """
    followed = with_region_renamed(with_trigger_region(project, name, into[0] if into else None), name, into)
    return followed.with_(recipes=tuple(_in_recipe(recipe, name, into) for recipe in project.recipes))


def _in_recipe(recipe: Recipe, name: str, into: list[str]) -> Recipe:
    if name not in recipe.regions:
        return recipe
    cells: list[Cell] = []
    for cell in recipe.cells:
        cells += [cell] if cell.region != name else [replace(cell, region=other) for other in into]
    rows = {other: row for old, row in recipe.rows.items() for other in ([old] if old != name else into)}
    return recipe.with_(cells=tuple(cells), rows=rows)


def _without_unused(project: Project, before: Project) -> Project:
    """The project without the stored arrays that `before` used and it does not."""
    lost = set(stored_places(before)) - set(stored_places(project))
    return project.with_(stored={place: values for place, values in project.stored.items() if place not in lost})
