"""What keys and menus do with recipes."""

from __future__ import annotations

from composer.edits.recipes import (
    add_recipe,
    delete_recipe,
    duplicate_recipe,
    free_recipe_name,
    paste_recipe,
    replace_recipe,
)
from composer.edits.rows import flipped_recipe
from composer.mixing.recipe import Recipe
from composer.viewer.panels.recipes.state import Recipes
from composer.viewer.session.joining import new_join, say_join
from composer.viewer.session.stage import Stage


def new_recipe(stage: Stage) -> None:
    """An empty recipe, chosen."""
    session = stage.session
    if session is None:
        return
    name = free_recipe_name(session.project, "recipe")
    if stage.do(lambda p: add_recipe(p, Recipe(name, join=new_join(session), contact=True))):
        session.choose_recipe(name)
        say_join(stage, name)


def duplicate_chosen(stage: Stage) -> None:
    """A copy of the chosen recipe, chosen."""
    session = stage.session
    if session is None or not session.recipe_name:
        return
    original = session.recipe_name
    name = duplicate_recipe(session.history.committed, original)[1]
    if stage.do(lambda p: duplicate_recipe(p, original)[0]):
        session.choose_recipe(name)


def flip_chosen(stage: Stage) -> None:
    """The chosen recipe with left and right exchanged."""
    session = stage.session
    if session is None or not session.recipe_name:
        return
    name = session.recipe_name
    flipped = flipped_recipe(session.recipe, session.region_names, session.head.shape_names)
    stage.do(lambda p: replace_recipe(p, name, flipped), f"Flipped {name}.")


def ask_to_keep(recipes: Recipes, stage: Stage) -> None:
    """Ask for the name under which the pose is kept as a shape."""
    session = stage.session
    if session is not None and session.recipe_name:
        recipes.keeping, recipes.shape = True, session.recipe_name


def paste_cells(recipes: Recipes, stage: Stage, name: str) -> None:
    """Put the copied cells in the place of a recipe's own."""
    copied = recipes.copied
    if copied is not None:
        stage.do(lambda p: paste_recipe(p, copied, name)[0], f"Pasted into {name}.")


def delete(stage: Stage, name: str) -> None:
    """Delete a recipe."""
    if stage.do(lambda p: delete_recipe(p, name)):
        stage.say(f"Deleted {name}; undo brings it back.")
