"""Rows and recipes: copies, pastes, order, and turning left to right, which twice is nothing and mirrors the pose."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.document.evaluated import EvaluatedDocument
from composer.edits import recipes, regions, rows
from composer.edits.sides import linked, mirror_cell, other_side, partner
from composer.errors import MoueError
from composer.mixing.recipe import Cell, Recipe, Row
from tests.composer.document.small_document import small_head, small_project

HEAD = small_head()
PROJECT = small_project()
REGIONS = ["all", "remainder", *(region.name for region in PROJECT.regions)]
seeds = st.integers(0, 2**32 - 1)
words = st.lists(st.sampled_from([*"abLRlr_. -1ü", "left", "right", "Left", "RIGHT"]), max_size=12).map("".join)


@pytest.mark.parametrize(
    ("name", "other"),
    [
        ("brow_left", "brow_right"), ("left_brow", "right_brow"), ("brow.left", "brow.right"), ("a1_left", "a1_right"),
        ("browLeft", "browRight"), ("Brow Left 2", "Brow Right 2"), ("BROW-RIGHT", "BROW-LEFT"), ("brow_L", "brow_R"),
        ("L.brow", "R.brow"), ("left", "right"), ("眉_left", "眉_right"), ("upright", None), ("leftover", None),
        ("Lift", None), ("cleft_lip", None), ("bright", None), ("brow", None), ("", None),
    ],
)  # fmt: skip
def test_names_of_the_other_side(name: str, other: str | None) -> None:
    assert other_side(name) == other


@given(words)
def test_the_other_side_of_the_other_side_is_the_name(name: str) -> None:
    other = other_side(name)
    assert other is None or other_side(other) == name


def random_recipe(rng: np.random.Generator) -> Recipe:
    cells = [Cell(region, shape, float(rng.uniform(-1, 2)), bool(flip)) for region in REGIONS
             for shape in HEAD.shape_names for flip in (0, 1) if rng.random() < 0.2]  # fmt: skip
    kinds = {r: Row("replace" if r != "all" and rng.random() < 0.5 else "add", float(rng.random()))
             for r in REGIONS if rng.random() < 0.5}  # fmt: skip
    return Recipe("chance", tuple(cells), kinds, float(rng.uniform(-1, 2)))


@given(seeds)
@settings(deadline=None, max_examples=40)
def test_turned_twice_is_the_recipe(seed: int) -> None:
    recipe = random_recipe(np.random.default_rng(seed))
    once = rows.flipped_recipe(recipe, REGIONS, HEAD.shape_names)
    assert rows.flipped_recipe(once, REGIONS, HEAD.shape_names) == recipe
    assert len(once.cells) == len(recipe.cells) and once.strength == recipe.strength


@given(seeds)
@settings(deadline=None, max_examples=25)
def test_a_turned_recipe_is_the_mirror_image_of_the_pose(seed: int) -> None:
    """Masks symmetric or mirror images of each other, shapes of two sides exact mirror images, no part."""
    rng = np.random.default_rng(seed)
    head = HEAD.with_(parts=())
    turn = EvaluatedDocument(PROJECT, HEAD).mirror_map.partner
    project = PROJECT.with_(shapes={})
    for name in ("glabella", "moving", "upper", "dots"):
        half = rng.random(head.n_vertices)
        project = regions.set_mask(project, name, 0.5 * (half + half[turn]))
    recipe = random_recipe(rng)
    project = project.with_(recipes=(recipe,))
    evaluated = EvaluatedDocument(project, head)
    flipped = rows.flipped_recipe(recipe, REGIONS, head.shape_names)
    plain, turned = evaluated.mixer.displacement(recipe), evaluated.mixer.displacement(flipped)
    np.testing.assert_allclose(turned, plain[turn] * [-1, 1, 1], atol=2e-7 * head.diagonal)


@given(seeds)
@settings(deadline=None, max_examples=40)
def test_links_are_mutual(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for cell in random_recipe(rng).cells:
        for mirror_shapes in (False, True):
            other = linked(cell, REGIONS, HEAD.shape_names, mirror_shapes)
            if other is not None:
                assert linked(other, REGIONS, HEAD.shape_names, mirror_shapes) == cell and other.key != cell.key
        assert mirror_cell(mirror_cell(cell, REGIONS, HEAD.shape_names), REGIONS, HEAD.shape_names) == cell


def test_links_and_partners() -> None:
    shapes = HEAD.shape_names
    assert linked(Cell("brow_left", "au1_left", 0.5), REGIONS, shapes) == Cell("brow_right", "au1_right", 0.5)
    assert linked(Cell("brow_left", "skew", 0.5), REGIONS, shapes) == Cell("brow_right", "skew", 0.5)
    assert linked(Cell("brow_left", "skew", 0.5), REGIONS, shapes, True) == Cell("brow_right", "skew", 0.5, True)
    assert linked(Cell("all", "au1_right", 0.5), REGIONS, shapes) == Cell("all", "au1_left", 0.5)
    assert linked(Cell("all", "lift", 0.5), REGIONS, shapes, True) is None
    assert partner("brow_left", ["brow_left"]) is None


def test_a_row_is_set_and_taken_back() -> None:
    project = rows.set_row(PROJECT, "doubt", "upper", Row("replace", 0.5))
    assert project.recipe("doubt").row("upper") == Row("replace", 0.5)
    back = rows.set_row(project, "doubt", "upper", Row())
    assert back.recipe("doubt") == PROJECT.recipe("doubt")
    assert rows.set_row(back, "doubt", "upper", Row()) is back
    for region, row in (("all", Row("replace")), ("nowhere", Row()), ("upper", Row("add", 1.5))):
        with pytest.raises(MoueError):
            rows.set_row(PROJECT, "doubt", region, row)


def test_a_row_is_pasted_in_the_place_of_another() -> None:
    recipe = PROJECT.recipe("doubt")
    cells, row = rows.row_cells(recipe, "brow_left"), recipe.row("brow_left")
    project = rows.paste_row(PROJECT, "call", "glabella", cells, row)
    made = project.recipe("call")
    assert [c.region for c in made.cells] == ["all", "glabella", "dots"]
    assert made.cells[1] == Cell("glabella", "au1_left", 0.8) and made.row("glabella") == Row("replace", 0.7)
    onto_itself = rows.paste_row(PROJECT, "doubt", "brow_left", cells, row)
    assert onto_itself.recipe("doubt") == recipe
    emptied = rows.paste_row(PROJECT, "call", "dots", (), Row())
    assert rows.row_cells(emptied.recipe("call"), "dots") == ()
    with pytest.raises(MoueError, match="cannot replace"):
        rows.paste_row(PROJECT, "call", "all", cells, row)


def test_recipes_are_copied_ordered_and_noted() -> None:
    project, name = recipes.duplicate_recipe(PROJECT, "doubt")
    assert name == "doubt_2" and [r.name for r in project.recipes] == ["doubt", "doubt_2", "call", "wait"]
    assert recipes.duplicate_recipe(project, "doubt")[1] == "doubt_3"
    moved = recipes.move_recipe(project, "doubt", 99)
    assert [r.name for r in moved.recipes] == ["doubt_2", "call", "wait", "doubt"]
    assert recipes.move_recipe(project, "call", 2) is project
    pasted, made = recipes.paste_recipe(project, project.recipe("call"))
    assert made == "call_2" and pasted.recipe(made).cells == project.recipe("call").cells
    noted = recipes.set_note(project, "wait", "for the tide")
    onto, _ = recipes.paste_recipe(noted, noted.recipe("call"), "wait")
    assert onto.recipe("wait") == project.recipe("call").with_(name="wait", note="for the tide")
    assert recipes.set_strength(project, "wait", 2).recipe("wait").strength == 2.0
    with pytest.raises(MoueError, match=r"\[-2, 4\]"):
        recipes.set_strength(project, "wait", 5)
    with pytest.raises(MoueError, match="region"):
        recipes.paste_recipe(regions.delete_region(PROJECT, "dots"), PROJECT.recipe("call"))
    long = recipes.add_recipe(PROJECT, Recipe("眉" * 40))
    assert len(recipes.duplicate_recipe(long, "眉" * 40)[1].encode()) <= 120
