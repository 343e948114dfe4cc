"""Shapes in a document: their labels, marks and groups, and shapes kept from a pose."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.document.mask_file import checked_delta
from composer.document.project import Project
from composer.document.stored import free_place, stored_places
from composer.edits.clips import clips_with_shape
from composer.errors import MoueError, unknown
from composer.geometry.polygons import read_only
from composer.head.file_names import check_name
from composer.mixing.recipe import Recipe

NAMED = 3
"""An error lists this many recipes and counts the others."""


def keep_shape(project: Project, name: str, delta: NDArray, taken: Collection[str] = ()) -> Project:
    """The project with a pose's displacement `delta` (n, 3) mm kept as a shape, last, stored as float32.

    `taken` are the names of the head's shapes and its neutral. Raises MoueError where the name is taken or not
    allowed, or the delta is not three finite numbers a vertex.
    """
    names = [*taken, *kept_shapes(project)]
    if name in names:
        raise MoueError(f"a shape named {name!r} is there already", project.path, hint="give it another name")
    check_name(name, "shape", project.path, names)
    held = read_only(np.array(checked_delta(np.asarray(delta), project.path)))
    place = free_place(name, "shapes", [*stored_places(project), *project.stored])
    shapes = {**project.shapes, name: {**project.shapes.get(name, {}), "delta": place}}
    return project.with_(shapes=shapes, stored={**project.stored, place: held})


def kept_shapes(project: Project) -> list[str]:
    """Names of the shapes that the document keeps, in order."""
    return [name for name, said in project.shapes.items() if "delta" in said]


def recipes_with_shape(project: Project, name: str) -> list[str]:
    """Names of the recipes whose cells use a shape, in order."""
    return [recipe.name for recipe in project.recipes if _uses(recipe, name)]


def delete_kept_shape(project: Project, name: str) -> Project:
    """The project without a kept shape and all that was said of it; a retouched one is the library's own again.

    Raises MoueError where no shape of this name is kept, where recipes, clips (with their names) or a corrective use
    it, or where it is an in-between of another shape.
    """
    if name not in kept_shapes(project):
        raise unknown("kept shape", name, kept_shapes(project), project.path)
    if project.shapes[name].get("replaces"):
        return _without_retouch(project, name)
    users = recipes_with_shape(project, name) + [f"clip {clip}" for clip in clips_with_shape(project, name)]
    if users:
        shown = ", ".join(users[:NAMED]) + (f" and {len(users) - NAMED} more" if len(users) > NAMED else "")
        raise MoueError(f"shape {name!r} is used by {shown}", project.path, hint="take its cells out first")
    fixes = [one.shape for one in project.correctives if name in (one.shape, *(t.shape for t in one.triggers))]
    if fixes:
        raise MoueError(f"shape {name!r} is used by corrective {fixes[0]!r}", project.path, hint="remove that first")
    through = next((other for other, said in project.shapes.items()
                    if any(entry["target"] == name for entry in said.get("inbetweens", []))), None)  # fmt: skip
    if through is not None:
        raise MoueError(f"shape {name!r} is an in-between of {through!r}", project.path, hint="take it out there first")
    shapes = {other: said for other, said in project.shapes.items() if other != name}
    return _tidied(project, project.with_(shapes=shapes))


def _without_retouch(project: Project, name: str) -> Project:
    """The project with the library's own target in place of a retouched one; its label, mark and group stay."""
    said = {key: value for key, value in project.shapes[name].items() if key not in ("delta", "replaces", "detail")}
    shapes = {other: said if other == name else own for other, own in project.shapes.items()}
    return _tidied(project, project.with_(shapes={other: own for other, own in shapes.items() if own}))


def _tidied(before: Project, after: Project) -> Project:
    """The project after an edit, without the arrays that only the one before it names."""
    lost = set(stored_places(before)) - set(stored_places(after))
    return after.with_(stored={place: held for place, held in after.stored.items() if place not in lost})


def label_shape(project: Project, name: str, label: str) -> Project:
    """The project with a displayed name for a shape; if empty, the shape's own name is shown."""
    return _say(project, name, "label", " ".join(label.split()))


def group_shape(project: Project, name: str, group: str) -> Project:
    """The project with a shape in a named group of the tray; empty for none."""
    return _say(project, name, "group", " ".join(group.split()))


def mark_shape(project: Project, name: str, marked: bool) -> Project:
    """The project with a shape marked or unmarked."""
    return _say(project, name, "marked", marked)


def hide_shape(project: Project, name: str, hidden: bool) -> Project:
    """The project with a shape hidden from the tray, or shown."""
    return _say(project, name, "hidden", hidden)


def _say(project: Project, name: str, key: str, value: Any) -> Project:
    """The project with a value under a shape's key; an empty or false value removes the key."""
    said = {k: v for k, v in project.shapes.get(name, {}).items() if k != key} | ({key: value} if value else {})
    if said == project.shapes.get(name, {}):
        return project
    if name in project.shapes and said:
        shapes = {other: said if other == name else table for other, table in project.shapes.items()}
        return project.with_(shapes=shapes)
    others = {other: table for other, table in project.shapes.items() if other != name}
    return project.with_(shapes={**others, name: said} if said else others)


def _uses(recipe: Recipe, shape: str) -> bool:
    return any(cell.shape == shape for cell in recipe.cells)
