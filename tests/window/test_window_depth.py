"""Points that are pulled, findings that light up, seamless joins and correctives, as a person meets them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from composer.edits.correctives import set_corrective
from composer.edits.spots import is_spot
from composer.formats.mesh import Mesh, mesh_of
from composer.formats.obj import write
from composer.geometry.polygons import Polygons
from composer.mixing.corrective import Corrective, Trigger
from composer.mixing.recipe import Cell, Recipe
from composer.units import mm_per
from composer.viewer.session.sculpts import accept_sculpt, match_target, retouch_shape
from tests.window.hand import Hand


def pull(hand: Hand, vertex: int, dx: float, dy: float, look: Callable[[], object] = lambda: None) -> None:
    """Take a vertex with Ctrl held and drag it by so many points of the window; `look` before it is let go."""
    x, y = hand.at_vertex(vertex)
    hand.move(x, y)
    hand.hold("Ctrl")
    hand.press(x, y)
    hand.drag(x + dx, y + dy)
    look()
    hand.release()
    hand.let_go("Ctrl")


def test_a_pulled_point_follows_the_pointer_in_one_step(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    vertex = session.centre_of("mouth_corner_left")
    start, before = hand.at_vertex(vertex), session.history.committed
    pull(hand, vertex, 4.0, -10.0)
    now = hand.at_vertex(vertex)
    assert np.hypot(now[0] - start[0] - 4.0, now[1] - start[1] + 10.0) < 4.0  # a pull may lead somewhat aside
    new = [c for c in session.recipe.cells if c.key not in {k.key for k in before.recipes[0].cells}]
    assert 1 <= len(new) <= 3
    spots = [region for region in session.project.regions if is_spot(region)]
    assert {spot.name for spot in spots} == {c.region for c in new if c.region.startswith("spot_")}
    pull(hand, vertex, 0.0, 2.0)
    assert len([region for region in session.project.regions if is_spot(region)]) <= len(spots) + 3
    hand.key("Ctrl+Z")
    hand.key("Ctrl+Z")
    assert session.history.committed is before and not any(is_spot(region) for region in session.project.regions)


def test_a_ghost_tells_how_much_of_the_way_a_place_can_come(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    vertex, told = session.centre_of("temple_left"), []
    pull(hand, vertex, 60.0, -30.0, lambda: told.append(replace(hand.window.panels.pulling)))
    (ghost,) = told
    assert ghost.held and ghost.words.endswith("mm") and " of " in ghost.words
    x, y = hand.at_vertex(vertex)
    assert np.hypot(ghost.reached[0] - x, ghost.reached[1] - y) < 2.0
    assert np.hypot(ghost.goal[0] - x, ghost.goal[1] - y) > 20.0
    assert not hand.window.panels.pulling.held and not hand.wrong


def test_escape_takes_a_pull_back_with_its_spots(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    before = session.history.committed
    pull(hand, session.centre_of("mouth_corner_left"), 6.0, -12.0, lambda: hand.key("Escape"))
    assert session.history.committed is before and session.project is before
    assert not hand.window.panels.pulling.held


def test_locked_cells_stay_while_a_point_is_pulled(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    vertex = session.centre_of("mouth_corner_right")
    held, count = session.weight(("mouth_corner_right", "joy", False)), len(session.recipe.cells)
    session.held.toggle("lock", ("column", "joy"))
    pull(hand, vertex, 0.0, -8.0)
    assert session.weight(("mouth_corner_right", "joy", False)) == held
    assert all(cell.shape != "joy" for cell in session.recipe.cells if cell.region.startswith("spot_"))
    assert count < len(session.recipe.cells) <= count + 3


def test_a_finding_lights_up_and_takes_the_eye_there(open_demo: Hand) -> None:
    hand, eye = open_demo, open_demo.stage.eye
    hand.key("Ctrl+E")
    hand.until(lambda: hand.window.panels.findings.found, "findings")
    hand.settle()
    hand.click_on("finding 0")
    hand.settle()
    finding = hand.window.panels.findings.found[0]
    assert hand.stage.finding is finding and hand.stage.eye.distance < 0.7 * eye.distance
    cover = hand.window.drawing.shown.cover
    assert (cover[finding.vertices, 3] > 0).any() and (cover[hand.session.centre_of("neck_left"), 3] == 0).all()
    hand.click_on("Close findings")
    assert hand.stage.finding is None


def test_a_drag_shows_the_seamless_pose_and_letting_go_changes_nothing(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    hand.click_on("Linear")
    assert session.recipe.join == "linear"
    hand.click_on("Seamless")
    hand.until(lambda: session.recipe.join == "seamless" and not session.join_wanted, "the join")
    pose, _ = session.evaluated.seamless(session.recipe)
    np.testing.assert_allclose(session.positions(), pose, atol=1e-3)
    linear = session.evaluated.pose(session.recipe.with_(join="linear"))
    assert np.abs(pose - linear).max() > 0.3
    session.region, session.shape = "brow_inner_left", "surprise"
    hand.frames(2)
    x, y = hand.middle("cell brow_inner_left surprise")
    hand.press(x, y)
    for away in (-15, -30, 20):
        hand.drag(x + away, y)
        assert session.previewing
        np.testing.assert_allclose(session.positions(), session.evaluated.seamless(session.recipe)[0], atol=1e-3)
    held = session.positions().copy()
    hand.release()
    np.testing.assert_allclose(session.positions(), held, atol=1e-3)
    hand.until(lambda: not session.join_wanted, "the join again")
    np.testing.assert_allclose(session.positions(), held, atol=1e-3)


def test_a_region_that_comes_while_it_is_dragged_joins_without_a_jump(open_demo: Hand) -> None:
    """Its join takes a moment to be made: the picture goes there by and by, and nothing is left for the release."""
    hand, session = open_demo, open_demo.session
    hand.click_on("recipe call")
    hand.until(lambda: not session.join_wanted, "the join")
    region = next(r for r in session.region_names if r not in session.recipe.regions and r.startswith("mouth_corner"))
    name = max(session.head.expressions, key=lambda s: float(np.abs(s.delta[session.centre_of(region)]).max())).name
    session.region, session.shape = region, name
    hand.frames(2)
    x, y = hand.middle(f"cell {region} {name}")
    hand.press(x, y)
    hand.drag(x + 30, y)
    hand.until(lambda: not session.join_wanted, "the join of one more region")
    assert session.previewing
    pose = session.evaluated.seamless(session.recipe)[0]
    np.testing.assert_allclose(session.positions(), pose, atol=1e-3)
    hand.release()
    np.testing.assert_allclose(session.positions(), pose, atol=1e-3)


def test_a_corrective_shows_on_the_board_with_how_far_it_is_in(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    fix = Corrective("au17", (Trigger("brow_inner_left", "surprise", 0.5),))
    session.apply(lambda project: set_corrective(project, fix))
    hand.frames(3)
    assert session.evaluated.corrective_weights(session.recipe)["au17"] == pytest.approx(1.0)
    assert "corrective au17" in hand.seen


def test_a_corrective_is_removed_in_the_window_and_comes_back_by_undo(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    linear = session.evaluated.pose(session.recipe)
    fix = Corrective("au17", (Trigger("brow_inner_left", "surprise", 0.5),))
    session.apply(lambda project: set_corrective(project, fix))
    hand.frames(3)
    corrected = session.evaluated.pose(session.recipe)
    assert np.abs(corrected - linear).max() > 0.1
    hand.click_on("corrective au17")
    hand.click_on("Remove corrective")
    assert not session.project.correctives and not hand.wrong
    assert "au17" in session.head.shape_names and "corrective au17" not in hand.seen
    np.testing.assert_allclose(session.evaluated.pose(session.recipe), linear, atol=1e-9)
    hand.key("Ctrl+Z")
    assert session.project.correctives == (fix,)
    np.testing.assert_allclose(session.evaluated.pose(session.recipe), corrected, atol=1e-9)
    hand.frames(3)
    assert "corrective au17" in hand.seen


def test_a_sculpted_bake_is_taken_back_as_a_corrective(open_demo: Hand, tmp_path: Path) -> None:
    hand, session = open_demo, open_demo.session
    hand.click_on("recipe wink")
    pose = session.evaluated.pose(session.recipe)
    lump = np.exp(-(((pose - pose[session.centre_of("cheek_right")]) ** 2).sum(axis=1)) / 200.0)
    sculpted = pose + lump[:, None] * np.array([0.0, 2.0, 2.0])
    write(tmp_path / "wink.obj", mesh_of(session.head, sculpted, unit="mm"))
    accept_sculpt(hand.stage, tmp_path / "wink.obj")
    hand.until(lambda: session.project.correctives, "the corrective")
    size = session.head.diagonal
    assert np.abs(session.evaluated.pose(session.recipe) - sculpted).max() < 1e-5 * size
    hand.key("Ctrl+Z")
    assert not session.project.correctives


def test_a_sculpted_bake_in_a_samples_order_asks_for_the_sample(open_demo: Hand, tmp_path: Path) -> None:
    hand, session = open_demo, open_demo.session
    hand.click_on("recipe wink")
    head, order = session.head, np.random.default_rng(4).permutation(session.head.n_vertices)
    polygons = Polygons(head.polygons.counts, np.argsort(order)[head.polygons.indices], head.n_vertices)
    pose = session.evaluated.pose(session.recipe)
    lump = np.exp(-(((pose - pose[session.centre_of("cheek_right")]) ** 2).sum(axis=1)) / 200.0)
    sculpted = pose + lump[:, None] * np.array([0.0, 2.0, 2.0])
    for name, points in (("sample", head.neutral), ("wink", sculpted)):
        write(tmp_path / f"{name}.obj", Mesh(polygons, points[order] / mm_per(head.unit)))
    accept_sculpt(hand.stage, tmp_path / "wink.obj")
    hand.until(lambda: hand.stage.dialogs.path_for, "the question for the sample")
    _, _, take = hand.stage.dialogs.path_for
    hand.stage.dialogs.path_for = None
    take(tmp_path / "sample.obj")
    hand.until(lambda: session.project.correctives, "the corrective")
    assert np.abs(session.evaluated.pose(session.recipe) - sculpted).max() < 1e-5 * head.diagonal


def test_a_shape_is_retouched_by_a_sculpt_and_undo_brings_its_own_back(open_demo: Hand, tmp_path: Path) -> None:
    hand, session = open_demo, open_demo.session
    hand.click_on("recipe wink")
    hand.until(lambda: not session.join_wanted, "the join")
    used = max(session.recipe.cells, key=lambda cell: abs(cell.weight)).shape
    own, was = session.head.target(used), session.positions().copy()
    lump = np.exp(-(((own - own[session.centre_of("cheek_right")]) ** 2).sum(axis=1)) / 800.0)
    sculpted = own + lump[:, None] * np.array([0.0, 2.0, 2.0])
    write(tmp_path / "sculpt.obj", mesh_of(session.head, sculpted, unit="mm"))
    retouch_shape(hand.stage, used, tmp_path / "sculpt.obj")
    hand.until(lambda: session.project.shapes.get(used, {}).get("replaces"), "the retouch")
    size = session.head.diagonal
    assert np.abs(session.head.target(used) - sculpted).max() < 1e-5 * size
    hand.until(lambda: not session.join_wanted, "the join")
    np.testing.assert_allclose(session.positions(), session.evaluated.pose(session.recipe), atol=1e-5 * size)
    hand.key("Ctrl+Z")
    hand.until(lambda: not session.join_wanted, "the join")
    assert "replaces" not in session.project.shapes.get(used, {})
    np.testing.assert_allclose(session.head.target(used), own, atol=1e-9)
    np.testing.assert_allclose(session.positions(), was, atol=1e-5 * size)


def test_a_target_is_matched_by_a_recipe_of_its_name(open_demo: Hand, tmp_path: Path) -> None:
    hand, session = open_demo, open_demo.session
    target = session.evaluated.pose(session.project.recipe("call"))
    write(tmp_path / "cry.obj", mesh_of(session.head, target, unit="mm"))
    hand.click_on("Match a target")
    hand.click_on("match path")
    hand.text(str(tmp_path / "cry.obj"))
    hand.click_on("match now")
    hand.until(lambda: session.recipe_name == "cry", "the match")
    left = np.linalg.norm(session.evaluated.pose(session.recipe) - target, axis=1)
    assert np.median(left) < 0.1 * np.linalg.norm(target - session.head.neutral, axis=1).max()
    assert any("percent of cry" in words for words in hand.told)
    assert any("could be used" in words for words in hand.told)
    assert hand.stage.overlay == "left"
    hand.settle()
    shown = hand.window.drawing.shown
    assert shown.legend is not None and shown.legend.words == "to the target"
    assert shown.legend.high >= left.max()


def test_a_match_keeps_to_the_row_the_tray_and_both_sides(open_demo: Hand, tmp_path: Path) -> None:
    hand, session = open_demo, open_demo.session
    smile = session.evaluated.pose(Recipe("both", (Cell("all", "au12_left", 0.7), Cell("all", "au12_right", 0.7))))
    write(tmp_path / "smile.obj", mesh_of(session.head, smile, unit="mm"))
    hand.click_on("row all")
    hand.click_on("search shapes")
    hand.text("au12")
    hand.click_on("Match a target")
    hand.click_on("match path")
    hand.text(str(tmp_path / "smile.obj"))
    for choice in ("The chosen row", "Those in the tray", "match symmetric"):
        hand.click_on(choice)
    hand.click_on("match now")
    hand.until(lambda: session.recipe_name == "smile", "the match")
    found = {(cell.region, cell.shape): cell.weight for cell in session.recipe.cells}
    assert set(found) == {("all", "au12_left"), ("all", "au12_right")}
    assert found["all", "au12_left"] == pytest.approx(0.7, abs=1e-4)
    assert found["all", "au12_left"] == found["all", "au12_right"]
    hand.click_on("Match a target")
    hand.key("Escape")
    assert not hand.stage.dialogs.match


def test_a_file_of_another_topology_is_told_in_one_line(open_demo: Hand, library: Path) -> None:
    hand = open_demo
    match_target(hand.stage, library / "neutral.obj")
    hand.until(lambda: hand.wrong, "the fault")
    assert len(hand.session.project.recipes) == 4
