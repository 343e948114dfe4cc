"""What an artist expects: several cells at once, a list of steps, what moves a place, another pose to compare with,
favourites, a search on the board, a view of the region's side, a sign of the kept copy."""

from __future__ import annotations

import numpy as np
import pytest

from composer.mixing.recipe import Cell, Recipe
from composer.viewer.session.pointing import region_at
from tests.window.hand import Hand

CELLS = (Cell("all", "chin", 0.2), Cell("all", "brow_left", 0.4), Cell("all", "smile_left", 0.6))


@pytest.fixture
def mixed(open_dome: Hand) -> Hand:
    """The dome with a recipe of three cells in the base row, and a second, empty one."""
    from composer.edits.recipes import add_recipe

    hand = open_dome
    hand.session.apply(lambda p: add_recipe(p, Recipe("three", CELLS)))
    hand.session.apply(lambda p: add_recipe(p, Recipe("other")))
    hand.session.choose_recipe("three")
    hand.settle()
    return hand


def weights(hand: Hand) -> dict[str, float]:
    return {cell.shape: cell.weight for cell in hand.session.recipe.cells}


def select_all(hand: Hand) -> None:
    hand.click_on("cell all brow_left")
    hand.hold("Shift")
    hand.click_on("cell all smile_left")
    hand.let_go("Shift")


def test_several_cells_are_dragged_typed_copied_and_deleted_as_one_step(mixed: Hand) -> None:
    hand = mixed
    select_all(hand)
    x, y = hand.middle("cell all chin")
    hand.press(x, y)
    hand.drag(x + 30, y)
    hand.release()
    assert weights(hand) == pytest.approx({"chin": 0.4, "brow_left": 0.6, "smile_left": 0.8}, abs=0.02)
    hand.key("Ctrl+Z")
    assert weights(hand) == {"chin": 0.2, "brow_left": 0.4, "smile_left": 0.6}
    hand.double_click(*hand.middle("cell all chin"))
    hand.text("50")
    hand.key("Enter")
    assert set(weights(hand).values()) == {0.5}
    hand.key("Ctrl+C")
    hand.click_on("recipe other")
    hand.key("Ctrl+V")
    assert weights(hand) == {"chin": 0.5, "brow_left": 0.5, "smile_left": 0.5}
    hand.key("Ctrl+Z")
    assert weights(hand) == {}
    hand.click_on("recipe three")
    hand.click_on("cell all chin")
    hand.hold("Ctrl")
    hand.click_on("cell all smile_left")
    hand.let_go("Ctrl")
    hand.key("Delete")
    assert set(weights(hand)) == {"brow_left"}


def test_the_list_of_steps_leads_to_any_of_them(mixed: Hand) -> None:
    hand = mixed
    begun = hand.session.history.at
    for _ in range(3):
        hand.click_on("cell all chin")
        hand.key("W")
    assert hand.session.history.at == begun + 3
    hand.click_on("Steps")
    assert hand.window.panels.steps.words(hand.session.history.steps)[-1] == "base × chin 35%"
    hand.click_on(f"step {begun + 1}")
    assert weights(hand)["chin"] == 0.25 and hand.session.history.can_redo
    hand.click_on(f"step {begun + 3}")
    assert weights(hand)["chin"] == 0.35
    np.testing.assert_allclose(
        hand.session.positions(), hand.session.evaluated.pose(hand.session.recipe), atol=1e-3
    )


def test_a_place_tells_what_moves_it_furthest_first(mixed: Hand) -> None:
    hand = mixed
    vertex = int(np.argmax(np.linalg.norm(hand.session.head.shape("smile_left").delta, axis=1)))
    hand.move(*hand.at_vertex(vertex))
    hand.key("E")
    found = hand.window.panels.movers.found
    assert found and found[0].key == ("all", "smile_left", False)
    assert found[0].mm == pytest.approx(0.6 * np.hypot(6.0, 3.0), abs=0.3)
    hand.click_on("mover 0")
    assert hand.session.shape == "smile_left"
    hand.click_on("Close movers")
    assert hand.stage.asked_place is None


def test_another_pose_is_seen_as_ghost_behind_a_wipe_and_beside(mixed: Hand) -> None:
    hand = mixed
    plain = hand.view_picture().astype(int)
    hand.click_on("Compare")
    hand.click_on("compare with the neutral")
    ghost = hand.view_picture().astype(int)
    assert hand.stage.compare.how == "ghost" and np.abs(ghost - plain).max() > 10
    hand.click_on("Wipe##compare" if "Wipe##compare" in hand.seen else "Wipe")
    hand.key("Escape")
    x, y = hand.middle("wipe line")
    hand.press(x, y)
    hand.drag(x + 120, y)
    hand.release()
    assert hand.stage.compare.at > 0.6
    wide = hand.stage.view[2]
    hand.click_on("Compare")
    hand.click_on("Side by side")
    hand.key("Escape")
    hand.settle()
    assert hand.stage.view[2] == pytest.approx(wide / 2)
    vertex = int(np.argmax(np.linalg.norm(hand.session.head.shape("chin").delta, axis=1)))
    hand.move(*hand.at_vertex(vertex))
    assert hand.stage.hit is not None, "the pose itself can still be pointed at"
    hand.click_on("Compare")
    hand.click_on("Off")
    assert hand.stage.compare.how == "off"


def test_favourites_search_and_the_side_of_the_region(open_demo: Hand) -> None:
    hand = open_demo
    left, top, right, _ = hand.seen["star anger"]
    hand.click((left + right) / 2, top + 4)
    assert hand.session.project.shapes["anger"]["marked"] is True
    hand.click_on("group Favourites")
    assert "shape anger" in hand.seen and "shape au01_left" not in hand.seen
    hand.key("Ctrl+Z")
    hand.fill("search cells", "brow")
    rows = [name for name in hand.seen if name.startswith("row ")]
    assert rows and all("brow" in name for name in rows)
    hand.fill("search cells", " ")
    hand.key("Enter")
    hand.click_on("row cheek_right")
    hand.click_on("view side")
    hand.settle()
    assert hand.stage.eye.axes[2][0] < -0.9, "the eye stands on the head's right"
    x, y = hand.in_region("cheek_right")
    hand.move(x, y)
    assert region_at(hand.stage, hand.stage.hit) == "cheek_right"


def test_the_kept_copy_is_shown(mixed: Hand) -> None:
    hand = mixed
    assert "unsaved" in hand.seen and "copy kept" not in hand.seen
    hand.stage.keeping.every = 0.0
    hand.until(lambda: hand.stage.keeping.kept_at > 0.0, "the copy")
    hand.frames(2)
    assert "copy kept" in hand.seen
    hand.stage.keeping.give_up()
