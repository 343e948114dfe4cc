"""Nothing is lost: asked once before leaving, kept while working, whole after being killed; nothing blocks a frame."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from composer.document.autosave import waiting
from composer.document.store import open_document
from composer.viewer.session.saving import save
from tests.window.dome import write_dome
from tests.window.hand import Hand

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def document(hand: Hand, library: Path, tmp_path: Path) -> Path:
    """A saved document of the dome, open in the hand's window, with one recipe of one cell."""
    hand.open(library)
    delta = hand.session.head.shape("smile_left").delta
    hand.drag_to_face("smile_left", int(np.argmax(np.linalg.norm(delta, axis=1))))
    save(hand.stage, tmp_path / "clock.moue")
    hand.until(lambda: not hand.session.unsaved)
    hand.settle()
    return tmp_path / "clock.moue"


def edit(hand: Hand) -> None:
    """One more step."""
    hand.key("Ctrl+N")
    assert hand.session.unsaved


def keep_a_copy(hand: Hand) -> None:
    """Let so much time pass that what is not saved is kept beside the document."""
    every, hand.stage.keeping.every = hand.stage.keeping.every, 0.0
    hand.frames(2)
    hand.settle()
    hand.stage.keeping.every = every


def close(hand: Hand) -> None:
    """The window's cross is pressed."""
    hand._tell("on_close")
    hand.frames(4)


def test_a_window_with_nothing_unsaved_closes_at_once(hand: Hand, document: Path) -> None:
    close(hand)
    assert hand.window.context is None


def test_unsaved_changes_are_asked_about_once(hand: Hand, document: Path) -> None:
    edit(hand)
    close(hand)
    assert hand.window.context is not None and hand.stage.dialogs.leave
    hand.click_on("leave stay")
    hand.frames(3)
    assert not hand.stage.dialogs.leave and hand.session.unsaved
    close(hand)
    hand.click_on("leave without")
    hand.frames(3)
    assert hand.window.context is None
    assert len(open_document(document).recipes) == 1


def test_leaving_can_save_first(hand: Hand, document: Path) -> None:
    edit(hand)
    close(hand)
    hand.click_on("leave save")
    hand.until(lambda: hand.window.context is None)
    assert len(open_document(document).recipes) == 2


def test_opening_another_asks_first_where_something_is_unsaved(hand: Hand, document: Path, tmp_path: Path) -> None:
    edit(hand)
    before = hand.session
    hand.drop(write_dome(tmp_path / "other"))
    assert hand.stage.dialogs.leave and hand.session is before
    hand.click_on("leave without")
    hand.until(lambda: hand.session is not before)


def test_a_bake_under_way_is_asked_about(hand: Hand, document: Path) -> None:
    go = threading.Event()
    hand.stage.work.begin("Baking 1 recipe", lambda progress: go.wait(60.0), lambda _: None, asks=True)
    close(hand)
    assert hand.window.context is not None and hand.stage.dialogs.leave
    assert list(hand.stage.dialogs.at_stake.values()) == ["Baking 1 recipe is still under way."]
    hand.click_on("leave stay")
    go.set()
    hand.settle()
    close(hand)
    assert hand.window.context is None


def test_work_is_kept_beside_the_document(hand: Hand, document: Path) -> None:
    os.utime(document, (1000, 1000))
    edit(hand)
    keep_a_copy(hand)
    found = waiting(document)
    assert found is not None and len(found.project.recipes) == 2


def test_a_kept_copy_is_offered_when_the_document_is_opened(hand: Hand, document: Path) -> None:
    os.utime(document, (1000, 1000))
    edit(hand)
    keep_a_copy(hand)
    hand.close()  # as if it had been killed
    with Hand() as again:
        again.open(document)
        assert len(again.session.project.recipes) == 1
        again.click_on("Take the copy")
        again.until(lambda: len(again.session.project.recipes) == 2)
        again.settle()
        assert again.session.unsaved and again.stage.dialogs.waiting is None
        again.key("Ctrl+S")
        again.until(lambda: not again.session.unsaved)
        assert len(open_document(document).recipes) == 2


def test_a_kept_copy_that_is_left_is_not_offered_again(hand: Hand, document: Path) -> None:
    os.utime(document, (1000, 1000))
    edit(hand)
    keep_a_copy(hand)
    hand.close()
    with Hand() as again:
        again.open(document)
        again.click_on("leave copy")
        again.frames(3)
        assert len(again.session.project.recipes) == 1
    assert waiting(document) is None


def test_a_save_leaves_no_kept_copy(hand: Hand, document: Path) -> None:
    edit(hand)
    keep_a_copy(hand)
    hand.key("Ctrl+S")
    hand.until(lambda: not hand.session.unsaved)
    hand.settle()
    assert waiting(document) is None
    assert len(open_document(document).recipes) == 2


def test_a_full_disk_leaves_the_old_file_whole(hand: Hand, document: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    edit(hand)
    old = document.read_bytes()

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "replace", full)
    hand.key("Ctrl+S")
    hand.until(lambda: hand.wrong)
    hand.settle()
    assert document.read_bytes() == old and hand.session.unsaved
    assert len(hand.wrong) == 1 and "\n" not in hand.wrong[0] and "space" in hand.wrong[0].lower()
    assert not list(document.parent.glob("*.part")) and not list(document.parent.glob(".*.part"))
    monkeypatch.undo()
    hand.key("Ctrl+S")
    hand.until(lambda: not hand.session.unsaved)
    assert len(open_document(document).recipes) == 2


# Killed.

KILLED = """
import os, signal, sys
from pathlib import Path
import numpy as np
from tests.window.hand import Hand

document, when = Path(sys.argv[1]), sys.argv[2]
hand = Hand()
hand.open(document)
hand.key("Ctrl+N")
hand.stage.keeping.every = 0.0
hand.frames(2)
hand.settle()
hand.stage.keeping.every = 3600.0
die = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
if when == "stroke":
    hand.key("P")
    hand.settle()
    hand.press(*hand.at_vertex(380))
    hand.drag(*hand.at_vertex(386))
    assert hand.window.panels.painting.stroking
    die()
elif when == "replace":
    os.replace = die
elif when == "sync":
    os.fsync = die
hand.key("Ctrl+S")
hand.until(lambda: False)
"""


@pytest.mark.skipif(os.name == "nt", reason="needs SIGKILL")
@pytest.mark.parametrize("when", ["stroke", "replace", "sync"])
def test_a_killed_window_leaves_the_document_whole_and_its_kept_copy_usable(
    hand: Hand, document: Path, when: str
) -> None:
    hand.close()
    os.utime(document, (1000, 1000))
    before = document.read_bytes()
    done = subprocess.run([sys.executable, "-c", KILLED, str(document), when], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert document.read_bytes() == before
    found = waiting(document)
    assert found is not None and len(found.project.recipes) == 2 and len(open_document(document).recipes) == 1


# Nothing blocks.


class Touched:
    """Files that the frame loop's own thread has opened, renamed, removed or listed while `on` (audit hooks cannot
    be taken away again, only told to rest). Python's own modules, read at their first import, do not count."""

    EVENTS = ("open", "os.rename", "os.remove", "os.mkdir", "os.listdir", "os.scandir", "shutil.copyfile")

    def __init__(self) -> None:
        self.on, self.calls, self.thread = False, list[str](), threading.get_ident()
        sys.addaudithook(self._told)

    def _told(self, event: str, told: tuple) -> None:
        if not self.on or event not in self.EVENTS or threading.get_ident() != self.thread:
            return
        name = str(told[0]) if told else ""
        if not name.endswith((".py", ".pyc", ".so")) and "site-packages" not in name and "lib/python" not in name:
            self.calls.append(f"{event} {name}")


@pytest.fixture(scope="module")
def touched() -> Touched:
    return Touched()


@pytest.fixture
def watched(touched: Touched) -> Iterator[Touched]:
    touched.calls, touched.on = [], True
    yield touched
    touched.on = False


def test_no_frame_of_a_session_touches_a_file(hand: Hand, tmp_path: Path, watched: Touched) -> None:
    watched.on = False
    folder = write_dome(tmp_path / "unseen")
    hand.frames(2)
    watched.on = True
    hand.drop(folder)
    hand.until(lambda: hand.stage.session is not None)
    hand.settle()
    delta = hand.session.head.shape("smile_left").delta
    vertex = int(np.argmax(np.linalg.norm(delta, axis=1)))
    hand.drag_to_face("smile_left", vertex)
    hand.key("P")
    hand.settle()
    hand.press(*hand.at_vertex(vertex))
    hand.drag(*hand.at_vertex(vertex + 3))
    hand.release()
    hand.key("M")
    keep_a_copy(hand)
    save(hand.stage, tmp_path / "mine.moue")
    hand.until(lambda: not hand.session.unsaved)
    hand.settle()
    hand.key("Ctrl+B")
    hand.frames(4)
    hand.until(lambda: "Bake now" in hand.seen and hand.window.panels.bake.plan)
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written)
    hand.frames(3)
    hand.click_on("Bake again")
    hand.frames(10)
    watched.on = False
    assert not watched.calls, "\n".join(watched.calls[:20])
