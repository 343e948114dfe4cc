"""Adding, replacing, renaming, ordering, copying and deleting recipes, and setting their note, strength and join."""

from __future__ import annotations

from typing import Literal

from composer.document.project import RESERVED, Project
from composer.document.read import STRENGTH_RANGE
from composer.edits.clips import with_recipe_renamed
from composer.edits.names import free_name
from composer.errors import MoueError, unknown
from composer.head.file_names import check_name
from composer.mixing.recipe import Recipe


def replace_recipe(project: Project, name: str, recipe: Recipe) -> Project:
    """The project with `recipe` in the place of the one named `name`. Raises MoueError for an unknown recipe."""
    if project.recipe(name) == recipe:
        return project
    return project.with_(recipes=tuple(recipe if old.name == name else old for old in project.recipes))


def add_recipe(project: Project, recipe: Recipe) -> Project:
    """The project with another recipe at the end. Raises MoueError where its name is taken or not allowed."""
    check_new_name(project, recipe.name)
    return project.with_(recipes=(*project.recipes, recipe))


def rename_recipe(project: Project, name: str, to: str) -> Project:
    """The recipe under another name, in every clip too. Raises MoueError for an unknown recipe or a name that is taken
    or not allowed."""
    held = project.recipe(name)
    if name == to:
        return project
    check_new_name(project.with_(recipes=tuple(r for r in project.recipes if r.name != name)), to)
    return with_recipe_renamed(replace_recipe(project, name, held.with_(name=to)), name, to)


def delete_recipe(project: Project, name: str) -> Project:
    """The project without a recipe, and its clips without its keys. Raises MoueError for an unknown recipe."""
    project.recipe(name)
    left = project.with_(recipes=tuple(recipe for recipe in project.recipes if recipe.name != name))
    return with_recipe_renamed(left, name, None)


def duplicate_recipe(project: Project, name: str) -> tuple[Project, str]:
    """The project with a copy of a recipe behind it, and the copy's name. Raises MoueError for an unknown recipe."""
    held = project.recipe(name)
    copy_name = free_recipe_name(project, name)
    at = next(i for i, recipe in enumerate(project.recipes) if recipe.name == name) + 1
    return project.with_(recipes=(*project.recipes[:at], held.with_(name=copy_name), *project.recipes[at:])), copy_name


def paste_recipe(project: Project, copied: Recipe, onto: str | None = None) -> tuple[Project, str]:
    """The project with a copied recipe as a new one at the end, and its name. With `onto`, that recipe takes the cells,
    rows, strength and join of the copy instead, and keeps its name and note.

    Raises MoueError for an unknown recipe, or a region that the document does not have.
    """
    for region in copied.regions:
        check_region(project, region)
    if onto is not None:
        held = project.recipe(onto)
        return replace_recipe(project, onto, copied.with_(name=held.name, note=held.note)), onto
    names = [recipe.name for recipe in project.recipes]
    new_name = free_recipe_name(project, copied.name) if copied.name in names else copied.name
    return add_recipe(project, copied.with_(name=new_name)), new_name


def move_recipe(project: Project, name: str, to: int) -> Project:
    """The recipe at another place (from 0) in the order of recipes. Raises MoueError for an unknown recipe."""
    held = project.recipe(name)
    others = [recipe for recipe in project.recipes if recipe is not held]
    at = min(max(to, 0), len(others))
    order = (*others[:at], held, *others[at:])
    return project if order == project.recipes else project.with_(recipes=order)


def set_note(project: Project, name: str, note: str) -> Project:
    """The recipe with a note, empty for none. Raises MoueError for an unknown recipe."""
    return replace_recipe(project, name, project.recipe(name).with_(note=note))


def set_strength(project: Project, name: str, strength: float) -> Project:
    """The recipe at a strength in [-2, 4]. Raises MoueError for an unknown recipe or another strength."""
    held = project.recipe(name)
    if not STRENGTH_RANGE[0] <= strength <= STRENGTH_RANGE[1]:
        raise MoueError(f"recipe {name!r}: strength {strength:g} is not in [-2, 4]", project.path)
    return replace_recipe(project, name, held.with_(strength=float(strength)))


def set_join(project: Project, name: str, join: Literal["linear", "seamless"], halo: float | None = None) -> Project:
    """The recipe with this join, and a halo in [0, 1] if given. Raises MoueError for an unknown recipe or halo."""
    held = project.recipe(name)
    return replace_recipe(project, name, held.with_(join=join, halo=held.halo if halo is None else float(halo)))


def set_contact(project: Project, name: str, contact: bool) -> Project:
    """The recipe with what goes through parted, or left as it is. Raises MoueError for an unknown recipe."""
    return replace_recipe(project, name, project.recipe(name).with_(contact=contact))


def free_recipe_name(project: Project, name: str) -> str:
    """The name with a number that makes it free among recipes."""
    return free_name(name, [*(recipe.name for recipe in project.recipes), "neutral"])


def check_region(project: Project, name: str) -> None:
    """Raises MoueError, with the nearest names, where the document has no such region."""
    names = [*RESERVED, *(region.name for region in project.regions)]
    if name not in names:
        raise unknown("region", name, names, project.path)


def check_new_name(project: Project, name: str) -> None:
    """Raises MoueError for the name of a new recipe that is taken or not allowed."""
    names = [recipe.name for recipe in project.recipes]
    if name == "neutral":
        raise MoueError("a recipe may not be named 'neutral'", project.path, hint="that is the face at rest")
    if name in names:
        raise MoueError(f"a recipe named {name!r} is there already", project.path)
    check_name(name, "recipe", project.path, [*names, "neutral"])
