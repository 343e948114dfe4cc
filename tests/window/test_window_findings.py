"""Findings beside the head and what mends them; what is tried shows on the board, and chance keeps its pictures."""

from __future__ import annotations

import numpy as np

from composer.demo.tour import PLANTED
from tests.window.hand import Hand


def test_the_planted_seam_is_found_seen_and_mended_by_a_press(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    panel = hand.window.panels.findings
    hand.key("Ctrl+E")
    hand.until(lambda: panel.found, "findings")
    hand.settle()
    assert session.recipe_name == PLANTED[0]
    assert [f.where for f in panel.found if f.code.startswith("seam")] == [PLANTED[1]]
    assert "shape joy" not in hand.seen  # it stands in the place of the tray
    left, _, wide, _ = hand.stage.view
    assert hand.seen["finding 0"][0] >= left + wide
    hand.click_on("finding 0")
    hand.settle()
    worst = panel.found[0].vertices[np.argmax(panel.found[0].amounts)]
    toward = hand.stage.eye.place - session.positions()[worst]
    assert session.frame_normals[worst] @ toward > 0.0
    before = session.history.committed
    hand.click_on("lower 0")
    hand.until(lambda: panel.recipe is not None and panel.recipe == session.recipe, "checked again")
    assert not any(f.code.startswith("seam") for f in panel.found)
    hand.key("Ctrl+Z")
    assert session.history.committed is before
    hand.stage.dialogs.findings = False


def test_the_board_shows_what_is_tried_and_chance_keeps_its_pictures(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    trying = hand.window.panels.trying
    hand.click_on("cell brow_outer_left surprise")
    hand.click_on("Sweep")
    hand.frames(3)
    shown = {cell.key: cell.weight for cell in hand.stage.seen_recipe.cells}
    trial = trying.trial
    assert 0.0 <= shown["brow_outer_left", "surprise", False] <= 1.0 and trial is not None
    hand.click_on("Stop trial")
    assert hand.stage.seen_recipe is session.recipe
    hand.click_on("Random")
    first = trying.found
    hand.click_on("One more")
    assert trying.found is not first and hand.stage.seen_recipe is trying.found
    assert all(f"cell {cell.region} {cell.shape}" in hand.seen for cell in trying.found.cells[:1])
    hand.click_on(first.name)
    assert trying.found is first and "shape joy" not in hand.seen
    hand.click_on("Keep from gallery")
    assert session.recipe.cells == first.cells and first not in trying.gallery
    hand.click_on("Close gallery")
    assert not trying.gallery and any(name.startswith("shape ") for name in hand.seen)


def test_shapes_that_hardly_move_the_chosen_region_are_dimmed(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    session.region = "brow_inner_left"
    tray = hand.window.panels.tray
    hand.move(5.0, 5.0)
    hand.frames(40)
    seen = [name.removeprefix("shape ") for name in hand.seen if name.startswith("shape ")]
    dim = {name for name in seen if tray.reach.hardly(session, name)}
    mask = session.evaluated.effective["brow_inner_left"][:, None]
    for name in seen:
        delta = session.head.shape(name).delta
        here, whole = np.linalg.norm(mask * delta, axis=1).max(), np.linalg.norm(delta, axis=1).max()
        assert (name in dim) == (here < 0.25 * whole)
    assert 0 < len(dim) < len(seen)
