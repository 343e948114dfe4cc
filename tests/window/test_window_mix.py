"""Mixing with the pointer: shapes dropped on the face, cells dragged, typed and wheeled, the gauge, linked sides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from composer.mixing.recipe import ALL, Recipe
from composer.viewer.session.pointing import look_up, region_at
from tests.window.hand import Hand


def weight(hand: Hand, region: str, shape: str) -> float | None:
    """The weight of a cell of the chosen recipe."""
    return hand.session.weight((region, shape, False))


def cell(region: str, shape: str) -> str:
    """The name of a cell on the board."""
    return f"cell {region} {shape}"


def at_rest(recipe: Recipe, region: str, inside: bool) -> Recipe:
    """The recipe with the cells of a region, or all others, at 0: a join still reaches over their ramps."""
    cells = tuple(replace(c, weight=0.0) if (c.region == region) == inside else c for c in recipe.cells)
    return recipe.with_(cells=cells)


def moved(hand: Hand) -> np.ndarray:
    """(n,) mm from the neutral to what is seen."""
    return np.linalg.norm(hand.session.positions() - hand.session.head.neutral, axis=1)


@pytest.fixture
def mixed(open_dome: Hand) -> tuple[Hand, str]:
    """The dome with smile_left at 1 in the region that it moves."""
    hand = open_dome
    vertex = int(np.argmax(np.linalg.norm(hand.session.head.shape("smile_left").delta, axis=1)))
    region = region_at(hand.stage, look_up(hand.stage, *hand.at_vertex(vertex)))
    hand.drag_to_face("smile_left", vertex)
    assert weight(hand, region, "smile_left") == 1.0
    hand.settle()
    return hand, region


def test_a_shape_dropped_on_the_mouth_comes_into_its_region(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("New recipe")
    x, y = hand.in_region("lower_lip_left")
    hand.press(*hand.middle("shape anger"))
    hand.drag(x, y)
    carried = moved(hand)
    assert carried.max() > 0.5, "a carried shape is shown before it is let go"
    assert hand.session.project.recipes[-1].cells == () or hand.session.previewing
    hand.release()
    assert weight(hand, "lower_lip_left", "anger") == 1.0
    assert [c.region for c in hand.session.recipe.cells] == ["lower_lip_left"]
    outside = hand.session.evaluated.effective["lower_lip_left"] == 0
    outside[hand.session.evaluated.seamless_join(hand.session.recipe).zone.free] = False  # the join's halo
    evaluated, recipe = hand.session.evaluated, hand.session.recipe
    for parted, _ in evaluated.contact.corrections(evaluated.pose(recipe.with_(contact=False)), recipe):
        outside[parted] = False  # what the lip would go through gives way with it
    assert outside.sum() > len(outside) / 4
    assert moved(hand)[outside].max() < 1e-4
    np.testing.assert_allclose(hand.session.positions(), hand.session.evaluated.pose(hand.session.recipe), atol=1e-3)
    hand.key("Ctrl+Z")
    assert hand.session.recipe.cells == () and moved(hand).max() < 1e-4


def test_escape_while_a_shape_is_carried_leaves_nothing(open_dome: Hand) -> None:
    hand, project = open_dome, open_dome.session.project
    hand.press(*hand.middle("shape chin"))
    hand.drag(*hand.at_vertex(380))
    hand.key("Escape")
    hand.release()
    assert hand.session.project is project and moved(hand).max() < 1e-4


def test_a_shape_let_go_beside_the_face_changes_nothing(open_dome: Hand) -> None:
    hand, project = open_dome, open_dome.session.project
    left, top, _, _ = hand.stage.view
    hand.press(*hand.middle("shape chin"))
    hand.drag(*hand.at_vertex(380))
    hand.drag(left + 20, top + 80)
    hand.release()
    assert hand.session.history.committed is project and moved(hand).max() < 1e-4


def test_the_first_shape_dropped_makes_the_first_recipe(mixed: tuple[Hand, str]) -> None:
    hand, region = mixed
    assert len(hand.session.history.committed.recipes) == 1 and not hand.session.previewing
    vertex = int(np.argmax(np.linalg.norm(hand.session.head.shape("smile_left").delta, axis=1)))
    assert moved(hand)[vertex] > 4


def test_a_cell_is_dragged_as_one_step(mixed: tuple[Hand, str]) -> None:
    hand, region = mixed
    x, y = hand.middle(cell(region, "smile_left"))
    hand.press(x, y)
    hand.drag(x - 75, y, steps=5)
    assert weight(hand, region, "smile_left") == pytest.approx(0.5, abs=0.02)
    whole = hand.session.evaluated.pose(hand.session.recipe)
    far = np.linalg.norm(whole - hand.session.head.neutral, axis=1)
    hand.until(lambda: np.abs(moved(hand) - far).max() < 1e-3, "the joined pose while it is dragged")
    hand.release()
    assert not hand.session.previewing
    np.testing.assert_allclose(moved(hand), far, rtol=0, atol=1e-3)
    hand.key("Ctrl+Z")
    assert weight(hand, region, "smile_left") == 1.0
    hand.key("Ctrl+Shift+Z")
    assert weight(hand, region, "smile_left") == pytest.approx(0.5, abs=0.02)


def test_escape_takes_a_dragged_cell_back(mixed: tuple[Hand, str]) -> None:
    hand, region = mixed
    project = hand.session.project
    x, y = hand.middle(cell(region, "smile_left"))
    hand.press(x, y)
    hand.drag(x - 60, y)
    hand.key("Escape")
    hand.release()
    assert hand.session.history.committed is project and weight(hand, region, "smile_left") == 1.0


def test_a_weight_is_typed_after_a_double_click(mixed: tuple[Hand, str]) -> None:
    hand, region = mixed
    hand.double_click(*hand.middle(cell(region, "smile_left")))
    hand.frames(4)
    hand.text("0,35")
    hand.key("Enter")
    assert weight(hand, region, "smile_left") == 0.35
    hand.double_click(*hand.middle(cell(region, "smile_left")))
    hand.frames(4)
    hand.text("much")
    hand.key("Enter")
    assert weight(hand, region, "smile_left") == 0.35
    assert "fault of the typed weight" in hand.seen and "typed weight" in hand.seen and not hand.wrong
    hand.key("Ctrl+A")
    hand.text("60")
    hand.key("Enter")
    assert weight(hand, region, "smile_left") == 0.6 and "fault of the typed weight" not in hand.seen


def test_escape_leaves_a_typed_weight_alone(mixed: tuple[Hand, str]) -> None:
    hand, region = mixed
    hand.key("T")
    hand.frames(4)
    hand.key("Ctrl+A")
    hand.text("0.2")
    hand.key("Escape")
    hand.frames(4)
    assert weight(hand, region, "smile_left") == 1.0 and "typed weight" not in hand.seen


def test_the_wheel_turns_the_chosen_cell(mixed: tuple[Hand, str]) -> None:
    hand, region = mixed
    hand.click_on(cell(region, "smile_left"))
    hand.wheel(-3, *hand.middle(cell(region, "smile_left")))
    assert weight(hand, region, "smile_left") == pytest.approx(0.85)
    hand.key("Ctrl+Z")
    assert weight(hand, region, "smile_left") == 1.0


def test_cells_are_reached_and_turned_by_keys(open_demo: Hand) -> None:
    hand, keys = open_demo, open_demo.window.kit.keys.combos
    hand.click_on(cell("brow_inner_left", "surprise"))
    hand.key(keys["cell_down"])
    assert hand.session.region == "brow_outer_left"
    hand.key(keys["less"])
    assert weight(hand, "brow_outer_left", "surprise") == pytest.approx(0.55)
    hand.key(keys["more"])
    assert weight(hand, "brow_outer_left", "surprise") == pytest.approx(0.6)
    hand.key(keys["clear_cell"])
    assert weight(hand, "brow_outer_left", "surprise") is None
    hand.key(keys["cell_up"])
    hand.key(keys["type_cell"])
    hand.frames(4)
    hand.key("Ctrl+A")
    hand.text("-0.2")
    hand.key("Enter")
    assert weight(hand, "brow_inner_left", "surprise") == pytest.approx(-0.2)


def test_the_cells_are_one_stop_of_tab_and_arrows_walk_over_them(open_demo: Hand) -> None:
    """As a grid is walked over: one stop, arrows inside, Enter edits, and the keyboard comes back to the cell (W3C,
    WAI-ARIA Authoring Practices 1.2, "Grid Pattern")."""
    hand = open_demo
    hand.click_on(cell("brow_inner_left", "surprise"))
    before, stops = hand.picture().astype(int), []
    while not stops or (stops[-1][0] != "foot" and len(stops) < 8):
        hand.key("Ctrl+Tab")
        stops.append(hand.window.kit.stops.has)
    while stops[-1][1] != "cells of the board" and len(stops) < 20:
        hand.key("Tab")
        stops.append(hand.window.kit.stops.has)
    assert stops[-1] == ("foot", "cells of the board"), stops
    x0, y0, x1, y1 = (round(at) for at in hand.seen[cell("brow_inner_left", "surprise")])
    ring = np.abs(hand.picture().astype(int) - before)[y0 - 3 : y0 - 1, x0 + 4 : x1 - 4]
    assert ring.max() > 60, "no ring about the cell"
    hand.key("Down")
    assert (hand.session.region, hand.session.shape) == ("brow_outer_left", "surprise")
    hand.key("Left")
    assert (hand.session.region, hand.session.shape) != ("brow_outer_left", "surprise")
    hand.key("Right")
    assert (hand.session.region, hand.session.shape) == ("brow_outer_left", "surprise")
    hand.key("Enter")
    hand.frames(4)
    hand.key("Ctrl+A")
    hand.text("30")
    hand.key("Enter")
    hand.frames(3)
    assert weight(hand, "brow_outer_left", "surprise") == pytest.approx(0.3)
    hand.key("Up")
    assert hand.session.region == "brow_inner_left", "the keyboard has not come back to the cells"
    hand.key("Tab")
    assert hand.window.kit.stops.has[1] != "cells of the board" and hand.session.region == "brow_inner_left"


def test_solo_and_mute_change_only_what_is_seen(open_demo: Hand) -> None:
    hand, project = open_demo, open_demo.session.project
    session = hand.session
    whole = session.evaluated.pose(session.recipe)
    hand.click_on("row nostril_right")
    hand.key("A")
    alone = at_rest(session.recipe, "nostril_right", False)
    np.testing.assert_allclose(session.positions(), session.evaluated.pose(alone), atol=1e-3)
    assert session.project is project
    hand.key("A")
    hand.key("D")
    rest = at_rest(session.recipe, "nostril_right", True)
    np.testing.assert_allclose(session.positions(), session.evaluated.pose(rest), atol=1e-3)
    hand.click_on("Show all again")
    np.testing.assert_allclose(session.positions(), whole, atol=1e-3)
    assert session.project is project and not session.history.can_undo


def test_a_locked_row_is_held_fast(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("row nostril_right", 4)
    hand.click_on("Lock this row")
    x, y = hand.middle(cell("nostril_right", "joy"))
    hand.press(x, y)
    hand.drag(x - 60, y)
    hand.release()
    hand.wheel(-3, x, y)
    assert weight(hand, "nostril_right", "joy") == 0.6


def test_linked_sides_move_together(open_demo: Hand) -> None:
    hand = open_demo
    hand.key("Ctrl+N")
    hand.click_on("Both sides")
    hand.drag_to_face("au01_left", "brow_inner_left")
    assert {(c.region, c.shape) for c in hand.session.recipe.cells} == {
        ("brow_inner_left", "au01_left"), ("brow_inner_right", "au01_right"),
    }  # fmt: skip
    x, y = hand.middle(cell("brow_inner_left", "au01_left"))
    hand.press(x, y)
    hand.drag(x - 60, y)
    hand.release()
    weights = {c.weight for c in hand.session.recipe.cells}
    assert len(weights) == 1 and weights != {1.0}


def test_a_mirrored_cell_takes_the_shapes_mirror_image(open_dome: Hand) -> None:
    hand = open_dome
    neutral, delta = hand.session.head.neutral, hand.session.head.shape("smile_left").delta
    vertex = int(np.argmax(np.linalg.norm(delta, axis=1)))
    other = int(np.argmin(np.linalg.norm(neutral - neutral[vertex] * [-1, 1, 1], axis=1)))
    hand.click_on("Mirrored")
    hand.drag_to_face("smile_left", other)
    assert [c.mirrored for c in hand.session.recipe.cells] == [True]
    seen = hand.session.positions()[other] - neutral[other]
    assert seen[1] > 0.6 * delta[vertex, 1] and np.abs(seen[0]) < 0.1


def test_the_gauge_on_the_face_turns_the_strongest_cell(open_demo: Hand) -> None:
    hand = open_demo
    before = weight(hand, "brow_outer_left", "surprise")
    x, y = hand.in_region("brow_outer_left")
    hand.press(x, y)
    hand.drag(x, y - 60)
    gauge = hand.window.panels.gauge
    assert gauge.key == ("brow_outer_left", "surprise", False) and gauge.weight > before
    hand.release()
    assert weight(hand, "brow_outer_left", "surprise") == pytest.approx(gauge.weight) and gauge.key is None
    hand.key("Ctrl+Z")
    assert weight(hand, "brow_outer_left", "surprise") == before


def test_escape_takes_the_gauge_back(open_demo: Hand) -> None:
    hand, project = open_demo, open_demo.session.project
    x, y = hand.in_region("brow_outer_left")
    hand.press(x, y)
    hand.drag(x, y + 60)
    hand.key("Escape")
    hand.drag(x, y - 60)
    hand.release()
    assert hand.session.history.committed is project


def test_pointing_names_the_region_and_outlines_it(open_demo: Hand) -> None:
    hand = open_demo
    left, top, _, _ = hand.stage.view
    hand.move(left + 15, top + 200)
    plain = hand.view_picture().astype(int)
    hand.move(*hand.in_region("cheek_right"))
    hand.frames(2)
    assert hand.stage.pointed == "cheek_right"
    changed = np.abs(hand.view_picture().astype(int) - plain).max(axis=2) > 40
    assert 100 < changed.sum() < 0.15 * changed.size


def test_a_row_can_replace_the_base_and_be_weakened(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("recipe wink")
    hand.click_on("row upper_lid_left", 4)
    hand.click_on("Adds to the base")
    assert hand.session.recipe.row("upper_lid_left").kind == "add"
    hand.key("Escape")
    hand.key("Ctrl+Z")
    assert hand.session.recipe.row("upper_lid_left").kind == "replace"


def test_a_row_is_copied_and_pasted(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("row nostril_right")
    hand.key("Ctrl+C")
    hand.click_on("recipe call")
    hand.click_on("row brow_inner_left")
    hand.key("Ctrl+V")
    assert weight(hand, "brow_inner_left", "joy") == 0.6 and weight(hand, "brow_inner_left", "fear") is None


def test_every_region_and_every_shape_are_shown_when_asked(open_demo: Hand) -> None:
    hand = open_demo
    rows, columns = (len([n for n in hand.seen if n.startswith(k)]) for k in ("row ", "column "))
    hand.click_on("Every region")
    hand.click_on("Every shape")
    hand.settle()
    board = hand.window.panels.board
    assert len(board.rows(hand.stage)) == 41 and len(board.columns(hand.stage)) == 64
    assert 5 <= rows <= 10 and columns == 2, "those in use, as far as they are in sight"


def test_the_search_field_narrows_the_tray(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("search shapes")
    hand.text("au12")
    hand.frames(3)
    assert [n for n in hand.seen if n.startswith("shape ")] == ["shape au12_left", "shape au12_right"]
    assert hand.session.region == ALL, "letters typed into a field are no shortcuts"


def test_the_search_finds_shapes_by_the_region_that_they_move(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("search shapes")
    hand.text("brow inner left")
    hand.until(lambda: hand.session.knows_moved, "which regions the shapes move")
    found = hand.window.panels.tray.names(hand.stage)
    assert {"au01_left", "surprise", "anger"} <= set(found)
    assert not {"au01_right", "au12_left", "au26"} & set(found)
    for name in found:
        moved = hand.session.moved_by(name)
        assert any("brow_inner_left" in region for region in moved)


def test_a_number_typed_over_a_cell_is_its_weight_and_elsewhere_a_view(open_demo: Hand) -> None:
    hand = open_demo
    hand.move(*hand.middle(cell("brow_inner_left", "surprise")))
    hand.frames(2)
    hand.key("6")
    hand.text("6")
    hand.text("0")
    hand.key("Enter")
    assert weight(hand, "brow_inner_left", "surprise") == pytest.approx(0.6)
    before = hand.stage.eye
    hand.move(640, 300)
    hand.key("6")
    hand.settle()
    assert hand.stage.eye != before
    assert weight(hand, "brow_inner_left", "surprise") == pytest.approx(0.6)
