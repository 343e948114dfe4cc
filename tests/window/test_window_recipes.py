"""Recipes: made, named, copied, flipped and deleted; tried by sweep, travel, chance, A and B; a pose kept."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.store import open_document
from tests.window.hand import Hand


def names(hand: Hand) -> list[str]:
    """The recipes of the document in order."""
    return [recipe.name for recipe in hand.session.project.recipes]


def menu(hand: Hand, recipe: str, words: str) -> None:
    """Choose from a recipe's menu."""
    hand.click_on(f"recipe {recipe}", 4)
    hand.click_on(f"{words} recipe")


def retype(hand: Hand, words: str) -> None:
    """Type over the field that has come up, and enter it."""
    hand.frames(3)
    hand.key("Ctrl+A")
    hand.text(words)
    hand.key("Enter")


class Clock:
    """A clock that stands until it is told to go on, in seconds."""

    def __init__(self, stage: object) -> None:
        self.now = stage.clock()  # type: ignore[attr-defined]
        stage.clock = lambda: self.now  # type: ignore[attr-defined]


def test_a_recipe_is_renamed_from_its_menu_and_by_a_double_click(open_demo: Hand) -> None:
    hand = open_demo
    menu(hand, "wink", "Rename")
    retype(hand, "one eye")
    assert names(hand) == ["half_believed", "one eye", "call", "two_minds"] and hand.session.recipe_name == "one eye"
    hand.double_click(*hand.middle("recipe call"))
    retype(hand, "shout")
    assert names(hand) == ["half_believed", "one eye", "shout", "two_minds"]
    hand.key("Ctrl+Z")
    hand.key("Ctrl+Z")
    assert names(hand) == ["half_believed", "wink", "call", "two_minds"]


def test_two_recipes_cannot_have_one_name(open_demo: Hand) -> None:
    hand = open_demo
    menu(hand, "wink", "Rename")
    retype(hand, "call")
    assert names(hand) == ["half_believed", "wink", "call", "two_minds"] and not hand.told
    assert "fault of recipe name" in hand.seen and "recipe name" in hand.seen
    retype(hand, "one eye")
    assert names(hand)[1] == "one eye" and "fault of recipe name" not in hand.seen


def test_recipes_are_duplicated_deleted_and_brought_back(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("recipe call")
    cells = hand.session.recipe.cells
    hand.key("Ctrl+D")
    assert len(names(hand)) == 5 and hand.session.recipe.cells == cells and hand.session.recipe_name != "call"
    menu(hand, "call", "Delete")
    assert "call" not in names(hand) and len(names(hand)) == 4
    hand.key("Ctrl+Z")
    assert "call" in names(hand)


def test_a_flipped_recipe_moves_the_other_side_alike(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    hand.click_on("recipe wink")
    before = session.positions().astype(np.float64).copy()
    hand.key("Ctrl+F")
    after, mirror = session.positions().astype(np.float64), session.evaluated.mirror_map.partner
    neutral = session.head.neutral
    moved = np.linalg.norm(before - neutral, axis=1)
    expected = (before - neutral)[mirror] * [-1, 1, 1]
    assert np.linalg.norm((after - neutral) - expected, axis=1).max() < 0.15 * moved.max()
    hand.key("Ctrl+F")
    np.testing.assert_allclose(session.positions(), before, atol=1e-3)


def test_cells_are_copied_from_one_recipe_into_another(open_demo: Hand) -> None:
    hand = open_demo
    menu(hand, "call", "Copy cells")
    hand.click_on("New recipe")
    menu(hand, hand.session.recipe_name, "Paste cells")
    assert hand.session.recipe.cells == hand.session.project.recipe("call").cells


def test_strength_and_note_are_one_step_each(open_demo: Hand) -> None:
    hand = open_demo
    left, top, right, bottom = hand.seen["strength"]
    hand.press((left + right) / 2, (top + bottom) / 2)
    hand.drag(left + 0.33 * (right - left), (top + bottom) / 2)
    hand.release()
    assert 0.4 < hand.session.recipe.strength < 0.6 and not hand.session.previewing
    hand.key("Ctrl+Z")
    assert hand.session.recipe.strength == 1.0
    hand.fill("note", "seen through fog")
    hand.key("Enter")
    assert hand.session.history.committed.recipe("half_believed").note == "seen through fog"
    hand.key("Ctrl+Z")
    assert hand.session.recipe.note == "one brow surprised, the other side glad"


def test_a_sweep_moves_the_head_and_changes_nothing(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    project, still = session.project, session.positions().copy()
    hand.click_on("cell brow_outer_left surprise")
    clock = Clock(hand.stage)
    hand.click_on("Sweep")
    seen = []
    for _ in range(5):
        clock.now += 0.45
        hand.frames()
        seen.append(session.positions().copy())
    ways = [np.abs(a - b).max() for a, b in zip(seen, seen[1:], strict=False)]
    assert min(ways) > 0.1
    only = (session.evaluated.effective["brow_outer_left"] == 0) & session.head.skin
    only[session.evaluated.seamless_join(session.recipe).zone.free] = False  # the join's own ramps and halo
    assert max(np.abs(each - still)[only].max() for each in seen) < 1e-3
    hand.click_on("Stop trial")
    np.testing.assert_allclose(session.positions(), still, atol=1e-5)
    assert session.history.committed is project and not session.history.can_undo


def test_a_sweep_can_be_held_at_a_place(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    hand.click_on("cell brow_outer_left surprise")
    hand.click_on("Sweep")
    hand.frames(2)
    left, top, right, bottom = hand.seen["way"]
    hand.press((left + right) / 2, (top + bottom) / 2)
    hand.release()
    first = session.positions().copy()
    hand.frames(5)
    np.testing.assert_array_equal(session.positions(), first)
    assert abs(hand.window.panels.trying.trial.t - 0.5) < 0.05


def test_travel_goes_straight_from_recipe_to_recipe(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    start = session.evaluated.pose(session.project.recipe("half_believed"))
    end = session.evaluated.pose(session.project.recipe("call"))
    clock = Clock(hand.stage)
    hand.click_on("Travel")
    hand.click_on("travel to call")
    trying = hand.window.panels.trying
    clock.now = trying._began + 0.75 * trying.trial.seconds
    hand.frames()
    share = trying.trial.t
    assert share == pytest.approx(0.75)
    way, gone = (end - start), session.positions() - start
    along = float((gone * way).sum() / (way * way).sum())
    assert 0.5 < along < 1.0
    np.testing.assert_allclose(gone, along * way, atol=1e-3)
    assert not session.history.can_undo


def test_chance_stays_within_its_limits_and_can_be_kept(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    hand.click_on("Random")
    found = hand.window.panels.trying.found
    assert 0 < len(found.cells) <= 4 and all(0 <= c.weight <= 0.8 for c in found.cells)
    assert len(names(hand)) == 4
    np.testing.assert_allclose(session.positions(), session.evaluated.pose(found), atol=1e-3)
    hand.frames(2)
    hand.click_on("Keep found")
    assert len(names(hand)) == 5 and session.recipe.cells == found.cells
    np.testing.assert_allclose(session.positions(), session.evaluated.pose(found), atol=1e-3)


def test_a_and_b_are_held_and_let_go(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    hand.click_on("slot a")
    hand.click_on("recipe call")
    hand.click_on("slot b")
    one, two = (session.evaluated.pose(session.project.recipe(n)) for n in ("half_believed", "call"))
    hand.press(*hand.middle("slot a"))
    np.testing.assert_allclose(session.positions(), one, atol=1e-3)
    hand.release()
    np.testing.assert_allclose(session.positions(), two, atol=1e-3)
    hand.click_on("overlay")
    hand.click_on("overlay difference")
    away = hand.window.panels.trying.difference_mm(session)
    np.testing.assert_allclose(away, np.linalg.norm(one - two, axis=1), atol=1e-3)


def test_the_neutral_is_seen_while_a_key_is_held(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    posed = session.positions().copy()
    hand.hold("N")
    hand.frames(2)
    np.testing.assert_allclose(session.positions(), session.head.neutral, atol=1e-4)
    hand.let_go("N")
    np.testing.assert_array_equal(session.positions(), posed)


def test_a_kept_pose_comes_into_the_tray_and_survives_save_and_reopening(own_demo: Path, hand: Hand) -> None:
    hand.open(own_demo)
    hand.click_on("recipe wink")
    pose = hand.session.evaluated.pose(hand.session.recipe)
    hand.key("Ctrl+K")
    hand.frames(3)
    hand.key("Ctrl+A")
    hand.text("blinker")
    hand.click_on("Keep shape")
    assert "blinker" in hand.session.head.shape_names, hand.told
    hand.fill("search shapes", "blink")
    hand.settle()
    assert "shape blinker" in hand.seen
    hand.key("Enter")
    hand.key("Ctrl+S")
    hand.until(lambda: not hand.session.unsaved)
    before = hand.session
    hand.drop(own_demo)
    hand.until(lambda: hand.session is not before)
    delta = hand.session.head.shape("blinker").delta
    np.testing.assert_allclose(hand.session.head.neutral + delta, pose, atol=1e-3)


def test_a_document_is_saved_and_opened_again_as_it_was(library: Path, hand: Hand, tmp_path: Path) -> None:
    hand.open(library)
    hand.drag_to_face("smile_left", hand.session.project.regions[0].name)
    assert hand.session.unsaved
    hand.key("Ctrl+S")
    hand.frames(3)
    hand.key("Ctrl+A")
    hand.text(str(tmp_path / "mine.moue"))
    hand.click_on("sheet save")
    hand.until(lambda: not hand.session.unsaved)
    pose, recipe = hand.session.positions().copy(), hand.session.recipe
    assert open_document(tmp_path / "mine.moue").recipes[0].cells == recipe.cells
    before = hand.session
    hand.drop(tmp_path / "mine.moue")
    hand.until(lambda: hand.session is not before and not hand.session.join_wanted)
    assert hand.session.recipe.cells == recipe.cells
    np.testing.assert_allclose(hand.session.positions(), pose, atol=1e-3)
