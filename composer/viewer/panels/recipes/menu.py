"""The menu of a recipe."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from imgui_bundle import imgui

from composer.edits.recipes import move_recipe
from composer.mixing.recipe import Recipe
from composer.viewer.panels.recipes.commands import ask_to_keep, delete, duplicate_chosen, flip_chosen, paste_cells
from composer.viewer.panels.recipes.state import Recipes
from composer.viewer.session.sculpts import accept_sculpt
from composer.viewer.session.stage import Stage
from composer.viewer.session.swapping import make_neutral
from composer.viewer.session.trying import Trying
from composer.viewer.ui.kit import Kit


def draw_menu(recipes: Recipes, stage: Stage, kit: Kit, recipe: Recipe, trying: Trying) -> None:
    """The items of the menu of a recipe."""
    session = stage.opened
    name, at = recipe.name, session.project.recipes.index(recipe)
    with kit.bold():
        imgui.text(kit.fit(name, kit.px(220)))
    for words, combo, call in (
        ("Rename", "", lambda: recipes.begin_naming(name)),
        ("Duplicate", "duplicate", lambda: duplicate_chosen(stage)),
        ("Flip left to right", "flip", lambda: flip_chosen(stage)),
        ("Copy cells", "", lambda: setattr(recipes, "copied", recipe)),
        ("Paste cells", "", lambda: paste_cells(recipes, stage, name)),
        ("Move up", "", lambda: stage.do(lambda p: move_recipe(p, name, max(at - 1, 0)))),
        ("Move down", "", lambda: stage.do(lambda p: move_recipe(p, name, at + 1))),
        ("Keep the pose as a shape", "keep_shape", lambda: ask_to_keep(recipes, stage)),
        ("Accept a sculpted bake", "", lambda: _ask(stage, f"The sculpted bake of {name}", "Accept", accept_sculpt)),
        ("Make it the head at rest", "", lambda: make_neutral(stage, name)),
        ("Set as A", "", lambda: setattr(trying, "a", recipe)),
        ("Set as B", "", lambda: setattr(trying, "b", recipe)),
        ("Delete", "", lambda: delete(stage, name)),
    ):
        able = words != "Paste cells" or recipes.copied is not None
        if imgui.menu_item(words, kit.keys.words(combo) if combo else "", False, able)[0]:
            call()
        kit.mark(f"{words} recipe")


def _ask(stage: Stage, heading: str, verb: str, call: Callable[[Stage, Path], None]) -> None:
    """Ask for a file, and do something with it."""
    stage.dialogs.path_for = (heading, verb, lambda path: call(stage, path))
