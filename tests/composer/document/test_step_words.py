"""What a step did is told in words, and going to any step is what undo and redo would do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.document.history import History
from composer.document.project import Project, Region
from composer.document.step_words import step_words
from composer.edits.cells import remove_cell, set_cell
from composer.edits.recipes import add_recipe, delete_recipe, rename_recipe, set_strength
from composer.edits.regions import rename_region, set_locked
from composer.mixing.recipe import Cell, Recipe

PROJECT = Project(
    Path("a.toml"), Path("head"), regions=(Region("brow", {"from": "file"}),),
    recipes=(Recipe("doubt", (Cell("brow", "anger", 0.5),)),),
)  # fmt: skip


@pytest.mark.parametrize(("edit", "words"), [
    (lambda p: set_cell(p, "doubt", Cell("brow", "anger", 0.65)), "brow × anger 65%"),
    (lambda p: set_cell(p, "doubt", Cell("all", "joy", -0.1, True)), "base × joy mirrored -10%"),
    (lambda p: remove_cell(p, "doubt", ("brow", "anger", False)), "brow × anger removed"),
    (lambda p: add_recipe(p, Recipe("wink")), "recipe wink made"),
    (lambda p: delete_recipe(p, "doubt"), "recipe doubt deleted"),
    (lambda p: rename_recipe(p, "doubt", "unsure"), "recipe doubt renamed unsure"),
    (lambda p: set_strength(p, "doubt", 0.8), "doubt: strength 80%"),
    (lambda p: set_locked(p, "brow", True), "region brow changed"),
    (lambda p: replace(p, guesses=frozenset({"nose"})), "guesses accepted"),
])  # fmt: skip
def test_a_step_is_named(edit, words) -> None:
    assert step_words(PROJECT, edit(PROJECT)) == words


def test_several_changes_are_counted() -> None:
    after = set_cell(set_cell(PROJECT, "doubt", Cell("all", "joy", 1.0)), "doubt", Cell("all", "fear", 1.0))
    assert step_words(PROJECT, after) == "base × joy 100%, and 1 more"
    assert step_words(PROJECT, rename_region(PROJECT, "brow", "forehead")) == "region brow renamed forehead"


@given(st.integers(1, 8), st.lists(st.integers(-2, 10), max_size=8))
def test_going_to_a_step_is_so_many_undos_or_redos(steps: int, visits: list[int]) -> None:
    one, other = History(PROJECT), History(PROJECT)
    for i in range(steps):
        edit = lambda p, i=i: set_cell(p, "doubt", Cell("all", "joy", i / 10))  # noqa: E731
        one.apply(edit)
        other.apply(edit)
    assert [step.recipes for step in one.steps] == [step.recipes for step in other.steps]
    for at in visits:
        one.go(at)
        goal = min(max(at, 0), steps)
        while other.at != goal:
            other.undo() if other.at > goal else other.redo()
        assert one.committed.recipes == other.committed.recipes and one.at == other.at
        assert (one.can_undo, one.can_redo) == (other.can_undo, other.can_redo)
