"""What is held while something else happens, two things at once, and the window without the pointer."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from imgui_bundle import imgui

from composer.edits.recipes import delete_recipe
from composer.edits.regions import delete_region, rename_region
from composer.progress import Progress
from composer.viewer.session import open_job
from composer.viewer.session.opening import Opened
from composer.viewer.session.settings import read_settings, settings_folder
from masks.paint import Painter
from tests.window.dome import write_dome
from tests.window.hand import Hand
from tests.window.test_window_paint import to_paint


def test_undo_in_a_stroke_takes_the_stroke_back_and_no_step(open_dome: Hand) -> None:
    hand = open_dome
    to_paint(hand)
    x, y = hand.in_region(hand.session.project.regions[0].name)
    hand.press(x, y)
    hand.drag(x + 12, y)
    before, mask = hand.session.project, hand.mask("mine")
    hand.key("Ctrl+Z")
    hand.drag(x + 30, y)
    hand.release()
    assert hand.session.project is before and not hand.window.panels.painting.stroking
    assert (hand.mask("mine") == mask).all()
    hand.key("Ctrl+Z")
    assert "mine" not in hand.session.evaluated.raw


@pytest.mark.parametrize("combo", ["P", "Ctrl+N", "Delete", "Ctrl+Shift+Z"])
def test_keys_that_edit_wait_while_the_gauge_is_held(open_demo: Hand, combo: str) -> None:
    hand, before = open_demo, open_demo.session.project
    x, y = hand.in_region("brow_outer_left")
    hand.press(x, y)
    hand.drag(x, y - 40)
    hand.key(combo)
    assert hand.stage.place == "mix" and hand.session.history.committed is before
    hand.drag(x, y - 60)
    hand.release()
    assert hand.session.history.before is before and hand.session.recipe.name == "half_believed"


def test_a_comparison_with_what_can_no_longer_be_mixed_is_told(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("slot a")
    hand.click_on("overlay")
    hand.click_on("overlay difference")
    hand.stage.do(lambda p: delete_region(p, "cheek_right"))
    hand.settle()
    assert hand.stage.overlay == "none" and len(hand.wrong) == 1 and "cheek_right" in hand.wrong[0]
    hand.key("B")
    hand.frames(3)
    assert hand.window.context is not None


def shows_its_recipe(hand: Hand) -> bool:
    """Whether the chosen recipe's own pose is seen, once its join is there."""
    session = hand.session
    hand.until(lambda: not session.join_wanted, "the join")
    return bool(np.abs(session.positions() - session.evaluated.pose(session.recipe)).max() < 1e-3)


def test_a_trial_ends_with_its_recipe_and_a_chance_with_an_edit(open_demo: Hand) -> None:
    hand, trying = open_demo, open_demo.window.panels.trying
    hand.click_on("cell brow_outer_left surprise")
    hand.click_on("Sweep")
    hand.frames(3)
    assert trying.running
    hand.stage.do(lambda p: delete_recipe(p, "half_believed"))
    hand.frames(3)
    assert not trying.running and shows_its_recipe(hand)
    hand.click_on("Random")
    assert trying.found is not None
    hand.stage.do(lambda p: delete_recipe(p, hand.session.recipe_name))
    hand.frames(3)
    assert trying.found is None and shows_its_recipe(hand)


def test_a_soloed_region_that_gets_another_name_hides_nothing(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    cells = {c.key: c.weight for c in session.recipe.cells}
    hand.click_on("row nostril_right")
    hand.key("A")
    assert session.held.hides
    hand.stage.do(lambda p: rename_region(p, "nostril_right", "dimple_right"))
    hand.settle()
    hand.until(lambda: not session.join_wanted, "the join under the new name")
    assert not session.held.hides and ("dimple_right", "joy", False) in {c.key for c in session.recipe.cells}
    assert sorted(cells.values()) == sorted(c.weight for c in session.recipe.cells)
    shown = session.positions() - session.evaluated.pose(session.recipe)
    assert abs(shown).max() < 1e-3


def test_of_two_that_are_dropped_the_later_one_is_opened(
    hand: Hand, demo: Path, library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read, may_read = open_job.open_path, threading.Event()

    def read_when_told(path: Path, progress: Progress, *more: object) -> Opened:
        assert may_read.wait(60.0)
        return read(path, progress, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(open_job, "open_path", read_when_told)
    hand.drop(demo)
    hand.drop(library)
    may_read.set()
    hand.until(lambda: hand.stage.session is not None and not hand.stage.work.jobs)
    hand.settle()
    assert hand.session.title == "dome"
    may_read.clear()
    hand.drop(demo)
    hand.key("Ctrl+N")
    session = hand.session
    may_read.set()
    hand.until(lambda: hand.stage.dialogs.leave or hand.session is not session)
    assert hand.session is session, "what was edited while another was read is asked about"
    hand.frames(3)
    hand.click_on("leave without")
    hand.settle()
    assert hand.session is not session


def test_a_brush_that_cannot_be_made_on_the_pose_is_told_once(
    open_demo: Hand, monkeypatch: pytest.MonkeyPatch
) -> None:
    hand = open_demo
    hand.key("P")
    hand.settle()

    def refuse(painter: Painter) -> None:
        raise RuntimeError("planted")

    with monkeypatch.context() as patch:
        patch.setattr(Painter, "prepare", refuse)
        hand.click_on("on the pose")
        hand.until(lambda: hand.wrong)
        hand.settle()
    assert hand.stage.place == "paint" and not hand.window.panels.painting.on_pose
    assert hand.window.panels.painting.ready_for(hand.session)


DAMAGED = (
    '{"scale": NaN}', '{"scale": 1e999}', '{"keys": {"undo": 5}}', '{"keys": []}', '{"panels": {"mix foot": true}}',
    '{"folded": [3]}', "[", "",
)  # fmt: skip


@pytest.mark.parametrize("text", DAMAGED)
def test_damaged_settings_are_as_good_as_none(new_hand: Callable[..., Hand], text: str) -> None:
    settings_folder().mkdir(parents=True, exist_ok=True)
    (settings_folder() / "window.json").write_text(text)
    hand = new_hand(settings=read_settings())
    hand.frames(3)
    assert "Open the demo" in hand.seen and hand.window.kit.scale == 1.0


def test_every_control_of_the_bar_lies_within_a_narrow_board(new_hand: Callable[..., Hand], demo: Path) -> None:
    hand = new_hand(size=(900, 560))
    hand.open(demo)
    left, _, width, _ = hand.stage.view
    for name in ("Every region", "Every shape", "Both sides", "Mirrored"):
        assert left <= hand.seen[name][0] and hand.seen[name][2] <= left + width, name


def test_shapes_recipes_and_their_menus_are_reached_by_keys_alone(
    open_demo: Hand, monkeypatch: pytest.MonkeyPatch
) -> None:
    from composer.viewer.ui.kit import Kit

    hand, plain, stood = open_demo, Kit.mark, []

    def mark(kit: Kit, name: str, able: bool = True) -> None:
        plain(kit, name, able)
        if imgui.is_item_focused():
            stood.append(name)

    monkeypatch.setattr(Kit, "mark", mark)

    def walk(to: str) -> None:
        for _ in range(6):
            hand.key("Ctrl+Tab")
            for _ in range(3):
                hand.key("Tab")
                stood.clear()
                hand.frames()
                if stood and stood[-1].startswith(to):
                    return
        raise AssertionError(f"no key leads to {to}")

    walk("pictures of shapes")
    for _ in range(8):
        hand.key("Down")
    hand.key("Space")
    assert hand.session.shape and hand.session.shape != "anger"
    hand.key("R")
    hand.frames(3)
    assert "Mark shape" in hand.seen
    hand.key("Escape")
    walk("recipe ")
    hand.key("Down")
    hand.key("Space")
    assert hand.session.recipe_name != "half_believed"
    hand.key("R")
    hand.frames(3)
    assert "Delete recipe" in hand.seen


def test_another_library_forgets_the_folder_of_the_last_bake(open_dome: Hand, tmp_path: Path) -> None:
    hand, folders = open_dome, []
    for name in ("one", "two"):
        hand.open(write_dome(tmp_path / name / name))
        hand.key("Ctrl+B")
        hand.frames(3)
        folders.append(hand.window.panels.bake.folder)
        hand.click_on("Close bake")
    assert folders[0] != folders[1]
