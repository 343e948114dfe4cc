"""Two who write one document: the second window is told, a change outside is noticed, and nothing is written over."""

from __future__ import annotations

import os
from pathlib import Path
from threading import Event

import pytest

from composer.document.autosave import copies_of, waiting
from composer.document.presence import Presence
from composer.document.store import open_document, save_document
from composer.edits.recipes import set_note
from tests.window.hand import Hand
from tests.window.test_window_safety import document, edit, keep_a_copy

__all__ = ["document"]
WINDOWS_KNOW = True
"""Windows tell each other that they have a document (see `conftest.new_hand`)."""
pytestmark = pytest.mark.skipif(os.name == "nt", reason="windows know of each other by locks")


def pass_a_second(hand: Hand) -> None:
    """The file is asked for again, as after a second."""
    hand.stage.others._at -= 1.0
    hand.frames(2)
    hand.settle()
    hand.frames(3)


def noted_outside(document: Path) -> None:
    project = open_document(document)
    save_document(set_note(project, project.recipes[0].name, "from elsewhere"), document)


def test_a_change_outside_is_noticed_and_reloaded(hand: Hand, document: Path) -> None:
    pass_a_second(hand)
    assert not hand.stage.others.changed
    noted_outside(document)
    pass_a_second(hand)
    assert hand.stage.others.changed
    hand.click_on("changed differs")
    hand.settle()
    hand.frames(2)
    assert "note" in hand.stage.others.differs
    hand.click_on("changed reload")
    hand.until(lambda: hand.session.recipe.note == "from elsewhere")
    assert not hand.stage.others.changed and not hand.stage.others.asks


def test_what_others_wrote_is_not_written_over_unless_mine_is_kept(hand: Hand, document: Path) -> None:
    edit(hand)
    noted_outside(document)
    hand.key("Ctrl+S")
    hand.settle()
    hand.frames(3)
    assert hand.session.unsaved and open_document(document).recipes[0].note == "from elsewhere"
    pass_a_second(hand)
    hand.click_on("changed keep")
    hand.key("Ctrl+S")
    hand.until(lambda: not hand.session.unsaved)
    assert [len(open_document(document).recipes), open_document(document).recipes[0].note] == [2, ""]
    pass_a_second(hand)
    assert not hand.stage.others.changed


def test_a_document_that_is_opened_again_at_once_is_not_taken_for_another_windows(
    hand: Hand, document: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As where the copy is taken while the window still looks for others."""
    hand.settle()
    go, begun = Event(), Event()

    def slow(file: Path) -> Presence:
        begun.set()
        go.wait(60.0)
        return Presence(file)

    monkeypatch.setattr("composer.viewer.session.others.Presence", slow)
    hand.stage.watch_others()
    assert begun.wait(60.0)
    hand.stage.watch_others()
    go.set()
    hand.settle()
    others = hand.stage.others
    assert others.presence is not None and (others.presence.mark, others.presence.other) == ("", "")
    assert not others.asks
    others.close()
    assert not [*document.parent.glob(".*.moue-window")]


def test_the_second_window_is_told_and_looks_or_takes_over(hand: Hand, document: Path) -> None:
    with Hand() as second:
        second.open(document)
        assert second.stage.others.asks and str(os.getpid()) in second.stage.others.presence.other
        second.click_on("others look")
        second.frames(3)
        edit(second)
        second.key("Ctrl+S")
        second.settle()
        assert second.session.unsaved and len(open_document(document).recipes) == 1
        edit(hand)
        keep_a_copy(hand)
        keep_a_copy(second)
        assert len(copies_of(document)) == 2 and all(waiting(document, place) for place, _ in copies_of(document))
    with Hand() as third:
        third.open(document)
        assert third.stage.dialogs.waiting is not None  # the second one's copy: it was killed
        third.click_on("leave copy")
        third.frames(3)
        third.click_on("others take over")
        third.frames(3)
        pass_a_second(hand)
        assert hand.stage.others.looking
        hand.key("Ctrl+S")
        hand.settle()
        assert hand.session.unsaved
        assert [mark for _, mark in copies_of(document)] == [""]
