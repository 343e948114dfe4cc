"""A GL context without a display (pyglet on EGL), for every test that draws.

Where none can be made the tests are skipped, and say which packages are missing; with MOUE_WINDOW_TESTS=1 in the
environment that is a failure instead.
"""

from __future__ import annotations

import os
import shutil
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.demo_heads import demo_folder, small_demo_folder
from tests.window.dome import write_dome
from tests.window.hand import Hand
from tests.window.kept_heads import keep_heads
from tests.window.kept_pictures import keep_pictures
from tests.window.unseen import leave_unseen

PACKAGES = "xvfb libgl1-mesa-dri libegl1 libegl-mesa0 libgl1 libglx-mesa0 xdotool"


def _window() -> object:
    import pyglet

    pyglet.options.headless = True
    pyglet.options.debug_gl = False
    from pyglet import gl

    config = gl.Config(
        major_version=3, minor_version=3, forward_compatible=True,
        red_size=8, green_size=8, blue_size=8, alpha_size=8, depth_size=24,
    )  # fmt: skip
    return pyglet.window.Window(64, 64, config=config, visible=False)


@pytest.fixture(scope="session")
def gl_window() -> Iterator[object]:
    """A pyglet window without a display, its OpenGL 3.3 context current."""
    try:
        window = _window()
    except Exception as error:
        words = f"no OpenGL context without a display ({type(error).__name__}: {error}); on Debian: {PACKAGES}"
        if os.environ.get("MOUE_WINDOW_TESTS") == "1":
            pytest.fail(words)
        warnings.warn(words)
        pytest.skip(words)
    yield window
    window.close()  # type: ignore[attr-defined]


@pytest.fixture
def context(gl_window: object) -> object:
    """The same window, its context current again for this test."""
    gl_window.switch_to()  # type: ignore[attr-defined]
    return gl_window


@pytest.fixture
def new_hand(
    gl_window: object, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> Iterator[Callable[..., Hand]]:
    """Makes windows with settings of their own, one at a time; what is left open is given back. However slow the
    machine is, no window keeps a copy beside its document unless a test asks for it (`keeping.every`): one beside the
    common demo would be offered to the next test. Nor does it tell that it has a document, unless the test's file says
    WINDOWS_KNOW, or ask whether its file has
    changed: workers have the common demo open at once."""
    if not getattr(request.module, "WINDOWS_KNOW", False):
        monkeypatch.setattr("composer.document.presence.lock", lambda place: None)
        monkeypatch.setattr("composer.document.presence.is_locked", lambda place: False)
        monkeypatch.setattr("composer.viewer.session.others.EVERY_SECONDS", float("inf"))
    monkeypatch.setenv("MOUE_SETTINGS", str(tmp_path / "settings"))
    for module in ("keeping", "kept_marks"):
        monkeypatch.setattr(f"composer.viewer.session.{module}.EVERY_SECONDS", float("inf"))
    keep_pictures(monkeypatch)
    leave_unseen(monkeypatch)
    keep_heads(monkeypatch)
    made: list[Hand] = []

    def make(**how: object) -> Hand:
        for old in made:
            old.close()
        made.append(Hand(**how))  # type: ignore[arg-type]
        return made[-1]

    yield make
    for hand in made:
        hand.close()


@pytest.fixture
def hand(new_hand: Callable[..., Hand]) -> Hand:
    """A window on its welcome page."""
    return new_hand()


@pytest.fixture
def library(tmp_path: Path) -> Path:
    """A library that nobody has marked."""
    return write_dome(tmp_path / "dome")


@pytest.fixture
def open_dome(hand: Hand, library: Path) -> Hand:
    """A window with that library open."""
    hand.open(library)
    return hand


@pytest.fixture(scope="session")
def demo() -> Path:
    """The demo's document, made once for all workers of a run; for reading only."""
    return demo_folder() / "document.toml"


@pytest.fixture
def own_demo(demo: Path, tmp_path: Path) -> Path:
    """A copy of the demo's document beside a copy of its library, to be written to."""
    return Path(shutil.copytree(demo.parent, tmp_path / "demo")) / demo.name


@pytest.fixture
def own_small_demo(tmp_path: Path) -> Path:
    """A copy of the demo's document beside a library of few shapes, for what takes as long as there are shapes."""
    return Path(shutil.copytree(small_demo_folder(), tmp_path / "small_demo")) / "document.toml"


@pytest.fixture
def open_demo(hand: Hand, demo: Path) -> Hand:
    """A window with the demo open, read from the common copy."""
    hand.open(demo)
    return hand
