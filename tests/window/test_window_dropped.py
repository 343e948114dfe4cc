"""A single target dropped over an open document, and the browser of folders where the machine has no dialog."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.formats.mesh import mesh_of
from composer.formats.obj import write
from composer.formats.registry import suffixes
from composer.viewer.session.folders import fault_of, formats_words, list_folder
from tests.window.hand import Hand


def test_a_target_is_asked_about_and_goes_where_it_was_meant_to(open_demo: Hand, tmp_path: Path) -> None:
    hand, session = open_demo, open_demo.session
    target = session.evaluated.pose(session.project.recipe("call"))
    write(tmp_path / "cry.obj", mesh_of(session.head, target, unit="mm"))
    before = session.history.committed
    hand.drop(tmp_path / "cry.obj")
    assert {"Match it dropped", "Take it back dropped", "Open it dropped"} <= set(hand.seen)
    hand.click_on("dropped leave")
    assert session.history.committed is before and hand.stage.dialogs.dropped is None
    hand.drop(tmp_path / "cry.obj")
    hand.click_on("Match it dropped")
    hand.until(lambda: session.recipe_name == "cry", "the match")
    hand.click_on("recipe call")
    pose = session.evaluated.pose(session.recipe)
    write(tmp_path / "call.obj", mesh_of(session.head, pose + [0.0, 0.5, 0.0], unit="mm"))
    hand.drop(tmp_path / "call.obj")
    hand.click_on("Take it back dropped")
    hand.until(lambda: session.project.correctives, "the fix")
    assert np.abs(session.evaluated.pose(session.recipe) - pose - [0.0, 0.5, 0.0]).max() < 1e-4 * session.head.diagonal


def test_without_a_dialog_folders_are_browsed_and_faults_stand_at_the_field(
    open_demo: Hand, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("composer.viewer.session.browse.can_browse", lambda: False)
    hand = open_demo
    (tmp_path / "inner").mkdir()
    (tmp_path / "inner" / "mine.moue").write_text("no document")
    (tmp_path / "inner" / "notes.txt").write_text("not for Moue")
    hand.key("Ctrl+O")
    hand.click_on("sheet path")
    hand.text(str(tmp_path / "nowhere"))
    hand.click_on("sheet open")
    assert "fault of sheet path" in hand.seen and not hand.wrong and hand.stage.dialogs.open_path
    hand.window.panels.sheets.folders.go(tmp_path)
    hand.frames(2)
    hand.click_on("folder inner")
    assert "file mine.moue" in hand.seen and "file notes.txt" not in hand.seen
    hand.click_on("folder up")
    assert "folder inner" in hand.seen
    hand.click_on("sheet leave")
    assert not hand.stage.dialogs.open_path


def test_the_hint_names_every_format() -> None:
    words = formats_words()
    assert all(suffix[1:].upper() in words for suffix in (*suffixes(), ".moue", ".toml"))


def test_a_folder_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    assert "cannot be read" in list_folder(tmp_path / "gone").fault
    assert "is not there" in fault_of(str(tmp_path / "gone")) and fault_of(f' "{tmp_path}" ') == ""
    assert fault_of("a\0b")
