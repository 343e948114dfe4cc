"""A hand that drives the window with no screen: real events into the real handlers, at places where controls lie.

Places are window points, y from the top. Events go through pyglet's dispatcher, as a window system would bring them;
after each of them the hand lets a few frames pass, since Dear ImGui takes queued events one a frame. Nothing waits
for a clock: `until` lets frames pass until something holds. One deed (a click, a drag, a key, a text) counts as one
input.
"""

from __future__ import annotations

import ctypes
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.head.lock import unlock
from composer.viewer.session.pointing import look_up, region_at
from tests.window.unseen import looked_at

LONGEST_SECONDS = 180.0
SELDOM_SECONDS = 0.25
"""Between the frames of a job that takes long: without a graphics card, frames take the processor that it needs."""
EACH = 3
"""Frames after one event: it is queued, taken, and what it did is drawn."""


class Hand:
    """One window without a screen, and what a person does to it.

    The settings folder is the caller's to set (MOUE_SETTINGS). Close it, or use it as a context.
    """

    def __init__(self, size: tuple[int, int] = (1280, 800), settings: Any = None) -> None:
        import pyglet

        pyglet.options.headless = True
        pyglet.options.debug_gl = False
        from composer.viewer.session.settings import Settings
        from composer.viewer.window import MoueWindow

        self.window = MoueWindow(settings or Settings(), size=size)
        self.inputs = 0
        self.closed = False
        self._at = (0.0, 0.0)
        self._down = 0
        self.frames(EACH)

    def __enter__(self) -> Hand:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Give the window back, as if it had been killed: nothing is asked or saved."""
        if not self.closed:
            self.closed = True
            self.window.stage.work.cancel_all()
            for job in self.window.stage.work.jobs:
                job.wait(10.0)
            others = self.window.stage.others
            if others is not None and others.presence is not None:
                unlock(others.presence._held)  # as the system does when a process ends
            self.window.close()

    # What is there.

    @property
    def stage(self) -> Any:
        """The window's stage."""
        return self.window.stage

    @property
    def session(self) -> Any:
        """What is open."""
        assert self.window.stage.session is not None, "nothing is open"
        return self.window.stage.session

    @property
    def seen(self) -> dict[str, tuple[float, float, float, float]]:
        """Controls of the last frame by name: left, top, right, bottom."""
        return self.window.kit.seen

    @property
    def told(self) -> list[str]:
        """The lines that now stand at the foot of the window."""
        return [words.text for words in self.stage.words]

    @property
    def wrong(self) -> list[str]:
        """The faults among them."""
        return [words.text for words in self.stage.words if words.kind == "wrong"]

    def mask(self, region: str) -> NDArray[np.float64]:
        """(n,) the raw mask of a region, a copy."""
        return np.array(self.session.evaluated.raw[region])

    # Time.

    def frames(self, count: int = 1) -> None:
        """Let frames pass."""
        for _ in range(count):
            if self.window.context is None:
                self.closed = True
                return
            self.window.switch_to()
            self._tell("on_draw")
            if self.window.context is not None:
                self.window.flip()

    def until(self, holds: Callable[[], Any], words: str = "") -> None:
        """Let frames pass until something holds. AssertionError where it never does."""
        end = time.monotonic() + LONGEST_SECONDS
        pause = 0.01
        while not holds():
            assert time.monotonic() < end, f"never came: {words or holds}; told: {self.told}"
            self.frames()
            pause = min(1.2 * pause, SELDOM_SECONDS) if self.stage.work.jobs else 0.01
            time.sleep(pause)

    def _join(self) -> None:
        """Let frames pass until the seamless join is there that was begun by the last deed."""
        if self.stage.session is not None and self.stage.session.join_wanted:
            session = self.stage.session
            self.until(lambda: not session.join_wanted or session is not self.stage.session, "the join")

    def settle(self) -> None:
        """Let frames pass until no job runs, every wanted picture is there, and the eye stands still."""
        self.frames(2)
        self.until(
            lambda: not self.stage.work.jobs and not self.window.thumbs.waiting and not self.stage.eye_moves, "rest"
        )
        self.frames(EACH)

    def open(self, path: Path | str) -> None:
        """Drop a path on the window and wait until it is open, with every picture."""
        before = self.stage.session
        self.drop(path)
        self.until(lambda: self.stage.session is not before, f"{path} open")
        self.settle()

    # Events.

    def _tell(self, name: str, *args: Any) -> None:
        from pyglet.event import EventDispatcher

        EventDispatcher.dispatch_event(self.window, name, *args)

    def _pixel(self, x: float, y: float) -> tuple[int, int]:
        return round(x), round(self.window.height - y)

    def drop(self, *paths: Path | str) -> None:
        """Drop files on the window."""
        self.inputs += 1
        self._tell("on_file_drop", 10, 10, [str(path) for path in paths])
        self.frames(EACH)

    def move(self, x: float, y: float) -> None:
        """Bring the pointer to a place; with a button down this is a drag."""
        px, py = self._pixel(x, y)
        dx, dy = px - self._pixel(*self._at)[0], py - self._pixel(*self._at)[1]
        self._at = (x, y)
        if self._down:
            self._tell("on_mouse_drag", px, py, dx, dy, self._down, self._modifiers)
        else:
            self._tell("on_mouse_motion", px, py, dx, dy)
        self.frames(EACH)

    _modifiers = 0

    def press(self, x: float, y: float, button: int = 1) -> None:
        """A button goes down at a place (1 left, 2 middle, 4 right)."""
        self.inputs += 1
        self.move(x, y)
        self._down = button
        self._tell("on_mouse_press", *self._pixel(x, y), button, self._modifiers)
        self.frames(EACH)

    def drag(self, x: float, y: float, steps: int = 5) -> None:
        """Move with the button down, in steps."""
        x0, y0 = self._at
        for i in range(1, steps + 1):
            self.move(x0 + (x - x0) * i / steps, y0 + (y - y0) * i / steps)

    def release(self) -> None:
        """The button goes up where the pointer is."""
        button, self._down = self._down, 0
        self._tell("on_mouse_release", *self._pixel(*self._at), button, self._modifiers)
        self.frames(EACH)
        self._join()

    def click(self, x: float, y: float, button: int = 1) -> None:
        """Press and release; never taken for the second of a double click."""
        self._twice_within(0.0)
        self.press(x, y, button)
        self.release()

    def _twice_within(self, seconds: float) -> None:
        self.window.ui.io.mouse_single_click_delay = seconds + 1.0
        self.window.ui.io.mouse_double_click_time = seconds

    def double_click(self, x: float, y: float) -> None:
        """Two clicks at one place, however slow the machine is."""
        self.click(x, y)
        self._twice_within(3600.0)
        self.press(x, y)
        self.release()
        self._twice_within(0.0)
        self.inputs -= 1

    def wheel(self, steps: float, x: float | None = None, y: float | None = None) -> None:
        """Turn the wheel, at a place where one is given."""
        self.inputs += 1
        if x is not None and y is not None:
            self.move(x, y)
        self._tell("on_mouse_scroll", *self._pixel(*self._at), 0.0, float(steps))
        self.frames(EACH)

    def hold(self, combo: str) -> None:
        """A key goes down with its modifiers: "Ctrl+Shift+Z", "Escape", "Ctrl" alone."""
        for symbol, modifiers in _strokes(combo):
            self._modifiers = modifiers | _bit(symbol)
            self._tell("on_key_press", symbol, modifiers)
            self.frames()

    def let_go(self, combo: str) -> None:
        """The key goes up again."""
        for symbol, modifiers in reversed(_strokes(combo)):
            self._tell("on_key_release", symbol, modifiers)
            self.frames()
        self._modifiers = 0
        self.frames(EACH)
        self._join()

    def key(self, combo: str) -> None:
        """Press a key and let it go."""
        self.inputs += 1
        self.hold(combo)
        self.let_go(combo)

    def text(self, words: str) -> None:
        """Type characters."""
        self.inputs += 1
        for letter in words:
            self._tell("on_text", letter)
        self.frames(EACH + 1)

    def type(self, digits: str) -> None:
        """Type digits as a keyboard sends them: each key goes down, brings its character, and goes up again."""
        self.inputs += 1
        for digit in digits:
            self.hold(digit)
            self._tell("on_text", digit)
            self.let_go(digit)

    # Controls by name.

    def middle(self, name: str) -> tuple[float, float]:
        """The middle of a control that is seen."""
        assert name in self.seen, f"{name!r} is not to be seen; there are {sorted(self.seen)}"
        left, top, right, bottom = self.seen[name]
        return (left + right) / 2, (top + bottom) / 2

    def click_on(self, name: str, button: int = 1) -> None:
        """Click on a control."""
        self.click(*self.middle(name), button)

    def fill(self, name: str, words: str) -> None:
        """Type into a field in place of what is in it, without Enter."""
        self.click_on(name)
        self.key("Ctrl+A")
        self.text(words)

    # The face.

    def at_vertex(self, vertex: int) -> tuple[float, float]:
        """Where a vertex is seen now."""
        left, top, _, _ = self.stage.view
        place = np.asarray(self.session.positions()[vertex], dtype=np.float64)
        seen, _ = self.stage.eye.project(place[None], *self.stage.view_size)
        return left + float(seen[0, 0]), top + float(seen[0, 1])

    def in_region(self, region: str) -> tuple[float, float]:
        """A place of the view where this region is the one under the pointer."""
        mask = np.asarray(self.session.evaluated.effective[region])
        order = np.argsort(-mask, kind="stable")
        for vertex in order[: max(200, int((mask > 0.5).sum()))]:
            x, y = (float(round(v)) for v in self.at_vertex(int(vertex)))
            if self.stage.in_view(x, y) and region_at(self.stage, look_up(self.stage, x, y)) == region:
                return x, y
        raise AssertionError(f"{region} is not to be seen from here")

    def drag_to_face(self, shape: str, place: int | str) -> None:
        """Drag a shape's picture from the tray onto a vertex, or into a region."""
        x, y = self.in_region(place) if isinstance(place, str) else self.at_vertex(place)
        self.press(*self.middle(f"shape {shape}"))
        self.drag(x, y)
        self.release()

    # Pictures.

    def picture(self) -> NDArray[np.uint8]:
        """(h, w, 3) what the window shows, its first row the upper one."""
        from pyglet import gl

        self.window.switch_to()
        with looked_at():
            self._tell("on_draw")
        width, height = self.window.get_framebuffer_size()
        held = (ctypes.c_ubyte * (width * height * 4))()
        gl.glBindFramebuffer(gl.GL_FRAMEBUFFER, 0)
        gl.glPixelStorei(gl.GL_PACK_ALIGNMENT, 1)
        gl.glReadPixels(0, 0, width, height, gl.GL_RGBA, gl.GL_UNSIGNED_BYTE, held)
        return np.frombuffer(held, np.uint8).reshape(height, width, 4)[::-1, :, :3].copy()

    def view_picture(self) -> NDArray[np.uint8]:
        """(h, w, 3) the part of the window in which the head is seen."""
        left, top, width, height = (round(v * self.window.get_pixel_ratio()) for v in self.stage.view)
        return self.picture()[top : top + height, left : left + width]

    def shot(self, path: Path | str) -> None:
        """Write the picture as a PNG."""
        from PIL import Image

        Image.fromarray(self.picture()).save(path)


def _strokes(combo: str) -> list[tuple[int, int]]:
    """The keys of a combination in the order they go down, each with the modifiers held before it."""
    from pyglet.window import key

    from composer.viewer.ui.keys import _NAMES

    symbols = {name: symbol for symbol, name in reversed(_NAMES.items())}
    symbols |= {"Escape": key.ESCAPE, "Enter": key.RETURN, "Ctrl": key.LCTRL, "Shift": key.LSHIFT, "Alt": key.LALT}
    strokes, held = [], 0
    for name in combo.split("+"):
        strokes.append((symbols[name], held))
        held |= _bit(symbols[name])
    return strokes


def _bit(symbol: int) -> int:
    from pyglet.window import key

    bits = {key.LCTRL: key.MOD_CTRL, key.LSHIFT: key.MOD_SHIFT, key.LALT: key.MOD_ALT}
    return int(bits.get(symbol, 0))
