"""Opening the window, and running until it is closed."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from composer.errors import MoueError

if TYPE_CHECKING:
    from composer.viewer.window import MoueWindow

WITHOUT = "every command works without a window, see moue --help"


def screen_there() -> bool:
    """Whether this machine has a screen to open a window on."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def run_window(path: Path | None = None, demo: bool = False) -> None:
    """Open the window, on a document or library, on the demo, or on the welcome page, and run until it is closed.

    Raises MoueError where there is no screen, or no OpenGL 3.3 on it.
    """
    if not screen_there():
        raise MoueError("there is no screen to open a window on", hint=WITHOUT)
    import pyglet

    pyglet.options.debug_gl = False
    pyglet.options.dpi_scaling = "stretch"
    try:
        from composer.viewer.session.open_job import begin_opening
        from composer.viewer.window import MoueWindow

        window = MoueWindow()
    except MoueError:
        raise
    except Exception as error:
        reason = " ".join(str(error).split()) or type(error).__name__
        raise MoueError(f"no window with OpenGL 3.3 could be opened ({reason})", hint=WITHOUT) from None
    if demo:
        window.open_demo()
    elif path is not None:
        begin_opening(window.stage, path)
    run(window)


def run(window: MoueWindow) -> None:
    """Run pyglet's loop: sixty frames a second while something happens, almost none otherwise."""
    import pyglet

    tablets = _tablets(window)

    def tick(_: float) -> None:
        if window.awake and window.context is not None:
            try:
                window.draw(0.0)
            except Exception as error:
                raise _stopped(window, error) from error

    pyglet.clock.schedule_interval(tick, 1 / 60)
    try:
        pyglet.app.run(interval=None)
    except MoueError:
        raise
    except Exception as error:
        raise _stopped(window, error) from error
    del tablets


def _stopped(window: MoueWindow, error: Exception) -> MoueError:
    """The error for a window that cannot continue; first a copy of the open document is kept."""
    reason = " ".join(str(error).split()) or type(error).__name__
    keeping = window.stage.keeping
    if keeping is not None and keeping.now():
        return MoueError(f"the window had to stop ({reason})", hint=f"a copy is kept in {keeping.place}; open it again")
    return MoueError(f"the window had to stop ({reason})", hint=WITHOUT)


def _tablets(window: MoueWindow) -> list:
    """Open the pens whose pressure the brush follows; the caller keeps them alive."""
    import pyglet

    opened = []
    try:
        for tablet in pyglet.input.get_tablets():
            canvas = tablet.open(window)

            def on_motion(cursor, x, y, pressure, *rest):  # type: ignore[no-untyped-def]
                window.press_pen(pressure)

            canvas.push_handlers(on_motion=on_motion)
            opened.append((canvas, on_motion))
    except Exception:
        return opened
    return opened
