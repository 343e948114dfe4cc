"""A GL context without a display (pyglet on EGL), for every test that draws.

Where none can be made the tests are skipped, and say which packages are missing; with MOUE_WINDOW_TESTS=1 in the
environment that is a failure instead.
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator

import pytest

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
