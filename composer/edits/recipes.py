"""Adding, replacing, renaming and deleting recipes."""

from __future__ import annotations

from composer.document.project import Project
from composer.document.values import check_name
from composer.errors import MoueError
from composer.mixing.recipe import Recipe


def replace_recipe(project: Project, name: str, recipe: Recipe) -> Project:
    """The project with `recipe` in the place of the one named `name`. Raises MoueError where there is none."""
    project.recipe(name)
    return project.with_(recipes=tuple(recipe if old.name == name else old for old in project.recipes))


def add_recipe(project: Project, recipe: Recipe) -> Project:
    """The project with one more recipe, last. Raises MoueError where its name is taken or may not be used."""
    check_new_name(project, recipe.name)
    return project.with_(recipes=(*project.recipes, recipe))


def rename_recipe(project: Project, name: str, to: str) -> Project:
    """The recipe under another name. Raises MoueError for an unknown recipe or a name that may not be used."""
    held = project.recipe(name)
    if name == to:
        return project
    check_new_name(project, to)
    return replace_recipe(project, name, held.with_(name=to))


def delete_recipe(project: Project, name: str) -> Project:
    """The project without a recipe. Raises MoueError where there is none of this name."""
    project.recipe(name)
    return project.with_(recipes=tuple(recipe for recipe in project.recipes if recipe.name != name))


def check_new_name(project: Project, name: str) -> None:
    """Raises MoueError where a new recipe may not be named so."""
    names = [recipe.name for recipe in project.recipes]
    if name == "neutral":
        raise MoueError("a recipe may not be named 'neutral'", project.path, mend="that is the face at rest")
    if name in names:
        raise MoueError(f"a recipe named {name!r} is there already", project.path)
    check_name(name, "recipe", project.path, [*names, "neutral"])
