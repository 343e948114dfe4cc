"""Baking from the window, read back by a reader that is not ours; at most ten inputs from the start to a target."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.window.dome import write_dome
from tests.window.hand import Hand


def vertices(path: Path) -> np.ndarray:
    """(n, 3) what trimesh reads of a file, nothing merged or left out."""
    trimesh = pytest.importorskip("trimesh")
    return np.asarray(trimesh.load(path, process=False, maintain_order=True).vertices)


def bake_all(hand: Hand, folder: Path) -> None:
    """Bake every recipe into a folder by the sheet."""
    hand.key("Ctrl+B")
    hand.fill("bake folder", str(folder))
    hand.frames(3)
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written)


def test_what_is_baked_is_what_was_mixed(open_demo: Hand, tmp_path: Path) -> None:
    hand, session = open_demo, open_demo.session
    bake_all(hand, tmp_path / "out")
    written = {path.name: path for path in (tmp_path / "out").glob("*.obj")}
    for recipe in session.project.recipes:
        held = vertices(written[f"{recipe.name}.obj"])
        pose = session.evaluated.pose(recipe)
        assert held.shape == pose.shape
        assert np.abs(held - pose).max() < 1e-5 * session.head.diagonal
    neutral = vertices(written["neutral.obj"])
    assert np.abs(neutral - session.head.neutral).max() < 1e-5 * session.head.diagonal
    assert [p.name for p in hand.window.panels.bake.written]


def test_an_unmarked_library_gives_a_target_in_ten_inputs(hand: Hand, tmp_path: Path) -> None:
    folder = write_dome(tmp_path / "unseen")
    hand.click_on("path")
    hand.text(str(folder))
    hand.key("Enter")
    hand.until(lambda: hand.stage.session is not None)
    hand.settle()
    for shape in ("smile_left", "brow_right"):
        delta = hand.session.head.shape(shape).delta
        hand.drag_to_face(shape, int(np.argmax(np.linalg.norm(delta, axis=1))))
    hand.key("Ctrl+B")
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written)
    assert hand.inputs <= 10
    pose = hand.session.evaluated.pose(hand.session.recipe)
    assert np.abs(pose - hand.session.head.neutral).max() > 0.5
    made = [p for p in hand.window.panels.bake.written if p.suffix == ".obj" and p.stem != "neutral"]
    assert len(made) == 1 and np.abs(vertices(made[0]) - pose).max() < 1e-5 * hand.session.head.diagonal


def test_the_list_of_files_says_what_stands_in_the_way(open_demo: Hand, tmp_path: Path) -> None:
    hand, folder = open_demo, tmp_path / "out"
    hand.key("Ctrl+B")
    hand.fill("bake folder", str(folder))
    hand.frames(5)
    assert {f.stands for f in hand.window.panels.bake.plan} == {"new"} and not folder.exists()
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written)
    hand.frames(3)
    wink = folder / "wink.obj"
    wink.write_text("# somebody has worked here\n" + wink.read_text())
    hand.click_on("Bake again")
    hand.until(lambda: {f.name: f.stands for f in hand.window.panels.bake.plan}.get("wink.obj") == "changed")
    hand.frames(3)
    hand.click_on("Bake now")
    hand.frames(5)
    assert wink.read_text().startswith("# somebody")
    left, top, _, bottom = hand.seen["overwrite wink.obj"]
    hand.click(left + 8, (top + bottom) / 2)
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written)
    assert not wink.read_text().startswith("# somebody")


def test_formats_units_names_and_choice_of_recipes(open_demo: Hand, tmp_path: Path) -> None:
    hand, session = open_demo, open_demo.session
    hand.key("Ctrl+B")
    hand.fill("bake folder", str(tmp_path / "out"))
    hand.click_on("PLY")
    hand.fill("bake names", "keeper_{recipe}")
    hand.click(hand.seen["bake call"][0] + 8, hand.middle("bake call")[1])
    hand.frames(3)
    hand.click_on("bake unit")
    hand.click_on("unit cm")
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written)
    names = {path.name for path in (tmp_path / "out").glob("*.ply")}
    assert {"keeper_wink.ply", "keeper_half_believed.ply"} <= names and not any("call" in n for n in names)
    held = vertices(tmp_path / "out" / "keeper_wink.ply")
    pose = session.evaluated.pose(session.project.recipe("wink")) / 10.0
    for end in (np.min, np.max):
        np.testing.assert_allclose(end(held, axis=0), end(pose, axis=0), atol=1e-5 * session.head.diagonal)


def test_a_place_that_is_no_folder_is_told_in_one_line(open_demo: Hand, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    open_demo.key("Ctrl+B")
    open_demo.fill("bake folder", str(tmp_path / "taken" / "out"))
    open_demo.frames(3)
    bake = open_demo.window.panels.bake
    if not bake.fault:
        open_demo.click_on("Bake now")
        open_demo.until(lambda: open_demo.told)
    told = [*open_demo.told, bake.fault]
    assert any("taken" in line for line in told) and not any("\n" in line or "Traceback" in line for line in told)
    assert (tmp_path / "taken").read_text() == "a file"
