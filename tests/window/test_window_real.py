"""A few tests of the command with a real window: an X server of its own (Xvfb), keys and pointer by xdotool.

Where controls lie is asked of a second window without a screen, of the same size and with the same document. Nothing
sleeps for a fixed while: everything waits for what it needs to see.
"""

from __future__ import annotations

import ctypes
import os
import shutil
import subprocess
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from composer.document.store import open_document
from composer.viewer.session.saving import save
from tests.window.conftest import PACKAGES
from tests.window.hand import Hand

ROOT = Path(__file__).resolve().parents[2]
LONGEST_SECONDS = 180.0
MOUE = "from composer.cli.main import main; main()"


def until(holds: Callable[[], object], words: str) -> None:
    """Wait until something holds."""
    end = time.monotonic() + LONGEST_SECONDS
    while not holds():
        assert time.monotonic() < end, f"never came: {words}"
        time.sleep(0.05)


@pytest.fixture(scope="module")
def display(gl_window: object) -> Iterator[str]:
    """The name of an X server that is this module's own."""
    missing = [name for name in ("Xvfb", "xdotool") if shutil.which(name) is None]
    if missing:
        words = f"no {' and no '.join(missing)}: no real window; on Debian: {PACKAGES}"
        if os.environ.get("MOUE_WINDOW_TESTS") == "1":
            pytest.fail(words)
        warnings.warn(words)
        pytest.skip(words)
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "1400x900x24", "-nolisten", "tcp", "-noreset"],
        pass_fds=(write,), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(write)
    with os.fdopen(read) as told:
        number = told.readline().strip()
    assert number, "Xvfb did not start"
    yield f":{number}"
    server.terminate()
    server.wait(10)


class Real:
    """The command in a process of its own, on an X server, and what is done to its window."""

    def __init__(self, display: str, settings: Path, *words: str | Path, **environment: str) -> None:
        self.display = display
        told = {k: v for k, v in os.environ.items() if k not in ("WAYLAND_DISPLAY", "MOUE_SETTINGS")}
        told |= {"DISPLAY": display, "MOUE_SETTINGS": str(settings), "OMP_NUM_THREADS": "1"} | environment
        self.process = subprocess.Popen(
            [sys.executable, "-c", MOUE, *map(str, words)], cwd=ROOT, env=told, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        self.window = ""

    def do(self, *words: object) -> str:
        """One xdotool command; what it says."""
        done = subprocess.run(
            ["xdotool", *map(str, words)], env={**os.environ, "DISPLAY": self.display}, capture_output=True, text=True
        )
        return done.stdout.strip()

    def find(self, title: str) -> None:
        """Wait for the window of this title, and give it the keys."""

        def there() -> bool:
            assert self.process.poll() is None, self.process.communicate()[1]
            self.window = self.do("search", "--onlyvisible", "--name", title).split("\n")[0]
            return bool(self.window)

        until(there, f"a window named {title}")
        self.do("windowfocus", "--sync", self.window)

    def picture(self) -> np.ndarray:
        """(h, w, 3) what the window shows."""
        from PIL import ImageGrab

        place = dict(line.split("=") for line in self.do("getwindowgeometry", "--shell", self.window).split("\n"))
        x, y, wide, high = (int(place[k]) for k in ("X", "Y", "WIDTH", "HEIGHT"))
        return np.asarray(ImageGrab.grab(xdisplay=self.display).crop((x, y, x + wide, y + high)).convert("RGB"))

    def to(self, at: tuple[float, float]) -> None:
        """Bring the pointer to a place of the window."""
        self.do("mousemove", "--window", self.window, round(at[0]), round(at[1]))

    def click(self, at: tuple[float, float], button: int = 1) -> None:
        """Click at a place of the window; button 4 and 5 are the wheel."""
        self.to(at)
        self.do("mousedown", button)
        self.do("mouseup", button)

    def cross(self) -> None:
        """Ask the window to close, as a window manager does (ICCCM 4.2.8.1, WM_DELETE_WINDOW)."""
        from pyglet.libs.x11 import xlib

        server = xlib.XOpenDisplay(self.display.encode())
        event = xlib.XEvent()
        event.xclient.type = xlib.ClientMessage
        event.xclient.window = int(self.window)
        event.xclient.message_type = xlib.XInternAtom(server, b"WM_PROTOCOLS", 0)
        event.xclient.format = 32
        event.xclient.data.l[0] = xlib.XInternAtom(server, b"WM_DELETE_WINDOW", 0)
        xlib.XSendEvent(server, int(self.window), 0, 0, ctypes.byref(event))
        xlib.XSync(server, 0)
        xlib.XCloseDisplay(server)

    def end(self) -> None:
        """Kill the process where it still runs."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate()


@pytest.fixture
def start(display: str, tmp_path: Path) -> Iterator[Callable[..., Real]]:
    """Starts the command; whatever still runs in the end is killed."""
    made: list[Real] = []

    def begin(*words: str | Path, on: str | None = None, **environment: str) -> Real:
        made.append(Real(display if on is None else on, tmp_path / "real", *words, **environment))
        return made[-1]

    yield begin
    for each in made:
        each.end()


@pytest.fixture
def document(hand: Hand, library: Path, tmp_path: Path) -> Path:
    """A saved document with one recipe; the hand's window has it open too."""
    hand.open(library)
    delta = hand.session.head.shape("smile_left").delta
    hand.drag_to_face("smile_left", int(np.argmax(np.linalg.norm(delta, axis=1))))
    save(hand.stage, tmp_path / "clock.moue")
    hand.until(lambda: not hand.session.unsaved)
    hand.close()
    hand.__init__()  # type: ignore[misc]
    hand.open(tmp_path / "clock.moue")
    hand.stage.words.clear()
    hand.frames(2)
    return tmp_path / "clock.moue"


def names(document: Path) -> list[str]:
    """The recipes that a file holds."""
    return [recipe.name for recipe in open_document(document).recipes]


def test_keys_wheel_text_and_size(start: Callable[..., Real], hand: Hand, document: Path) -> None:
    real = start("open", document)
    real.find("Moue: clock")
    left, top, width, height = (round(v) for v in hand.stage.view)

    def view() -> np.ndarray:
        return real.picture()[top + 60 : top + height - 80, left : left + width].astype(int)

    until(lambda: view().std() > 8, "a head")
    real.do("key", "ctrl+n")
    real.do("key", "ctrl+s")
    until(lambda: len(names(document)) == 2, "a second recipe in the file")

    real.to((left + 12, top + height / 2))
    until(lambda: (view() == view()).all(), "stillness")
    before = view()
    real.click((left + width / 2, top + height / 2), 4)
    real.click((left + width / 2, top + height / 2), 4)
    until(lambda: (np.abs(view() - before).max(axis=2) > 8).mean() > 0.02, "another eye")

    hand.fill("search shapes", "chin")
    hand.settle()
    real.click(hand.middle("search shapes"))
    real.do("type", "chin")
    x0, y0, x1, y1 = (round(v) for v in hand.seen["shape chin"])
    wanted = hand.picture()[y0 + 4 : y1 - 4, x0 + 4 : x1 - 4].astype(int)

    def near() -> bool:
        there = real.picture()[y0 + 4 : y1 - 4, x0 + 4 : x1 - 4].astype(int)
        return there.shape == wanted.shape and np.abs(there - wanted).mean() < 6

    until(near, "the one shape that is searched for")

    real.do("windowsize", "--sync", real.window, 1010, 690)
    until(lambda: real.picture().shape[:2] == (690, 1010), "another size")
    ground = real.picture()[2, 700].astype(int)
    until(lambda: np.abs(real.picture()[2, 1000].astype(int) - ground).max() < 3, "a header as wide as the window")


def test_closing_asks_once_where_something_is_not_saved(
    start: Callable[..., Real], hand: Hand, document: Path
) -> None:
    real = start("open", document)
    real.find("Moue: clock")
    hand.frames(4)
    before = hand.picture().astype(int)
    hand.key("Ctrl+N")
    hand.move(5.0, 5.0)
    hand.frames(4)
    changed = np.abs(hand.picture().astype(int) - before).max(axis=2) > 40
    assert changed.any()
    hand._tell("on_close")
    hand.frames(4)
    boxes = {name: hand.middle(name) for name in ("leave stay", "leave without")}
    until(lambda: real.picture().std() > 4, "a window that is drawn")
    bright = real.picture()[10, 10].astype(int)

    def dimmed() -> bool:
        return bool((bright - real.picture()[10, 10] > 4).any())

    old = real.picture()[changed].astype(int)
    real.do("key", "ctrl+n")
    until(lambda: (np.abs(real.picture()[changed].astype(int) - old) > 20).any(), "the new recipe, before it is closed")
    real.cross()
    until(dimmed, "a sheet that dims the window")
    real.click(boxes["leave stay"])
    until(lambda: not dimmed(), "the sheet is gone")
    assert real.process.poll() is None
    real.cross()
    until(dimmed, "the sheet again")
    real.click(boxes["leave without"])
    assert real.process.wait(LONGEST_SECONDS) == 0
    assert len(names(document)) == 1


def test_a_path_typed_on_the_welcome_page_opens(
    start: Callable[..., Real], new_hand: Callable[..., Hand], library: Path
) -> None:
    twin = new_hand()
    real = start()
    real.find("^Moue$")
    calm = twin.picture()[10, 10].astype(int)
    until(lambda: np.abs(real.picture()[10, 10].astype(int) - calm).max() < 4 and real.picture().std() > 4, "a page")
    real.click(twin.middle("path"))
    real.do("type", str(library))
    real.do("key", "Return")
    real.find(f"Moue: {library.name}")


def test_without_a_screen_it_says_so_in_one_line(start: Callable[..., Real], library: Path) -> None:
    real = start("open", library, on="")
    assert real.process.wait(LONGEST_SECONDS) == 2
    told = real.process.stderr.read()  # type: ignore[union-attr]
    assert told.count("\n") == 1 and "screen" in told and "without a window" in told


def test_a_screen_that_is_not_there_is_told_in_one_line(start: Callable[..., Real], library: Path) -> None:
    real = start("open", library, on=":4711")
    assert real.process.wait(LONGEST_SECONDS) == 2
    told = real.process.stderr.read()  # type: ignore[union-attr]
    assert told.count("\n") == 1 and "without a window" in told


def test_without_opengl_it_says_so_in_one_line(start: Callable[..., Real], library: Path) -> None:
    real = start("open", library, MESA_GL_VERSION_OVERRIDE="2.1", MESA_GLSL_VERSION_OVERRIDE="120")
    assert real.process.wait(LONGEST_SECONDS) == 2
    told = real.process.stderr.read()  # type: ignore[union-attr]
    assert told.count("\n") == 1 and "OpenGL 3.3" in told and "without a window" in told
