"""The window: events to panels and tools, one frame after the other.

Pyglet's events come in here and nowhere else. A drag on the head is a tool's generator; a key is an action of
`composer.viewer.actions`. Nothing here knows how a pose or a mask is made.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pyglet
from pyglet import gl
from pyglet.window import key, mouse

from composer.errors import MoueError
from composer.viewer.actions import Actions
from composer.viewer.scene.drawing import Drawing
from composer.viewer.scene.thumbs import Thumbs
from composer.viewer.screen import Screen
from composer.viewer.session.browse import browse, can_browse
from composer.viewer.session.settings import Settings, read_settings, write_settings
from composer.viewer.session.stage import Stage
from composer.viewer.tools.drag import Drag
from composer.viewer.tools.fit_brush import brush_fit
from composer.viewer.tools.gauge import turn_weight
from composer.viewer.tools.gestures import Point
from composer.viewer.tools.look_about import move, turn
from composer.viewer.tools.place_mark import mark_at, place
from composer.viewer.tools.place_pair import pair_at, place_pair
from composer.viewer.tools.pull import pull
from composer.viewer.tools.stroke import paint
from composer.viewer.ui import theme
from composer.viewer.ui.imgui_pyglet import ImGuiOnPyglet
from composer.viewer.ui.keys import ACTIONS, Keys, combo_of
from composer.viewer.ui.kit import Kit

SIZE, LEAST = (1280, 800), (900, 560)
AWAKE_SECONDS = 0.6
CONTEXT_LOST = 0x0507
HELD_LOOKS = {"rest": "neutral", "before": "before", "flip_ab": "other"}
"""Keys that are held to look at something else, and what."""
WHILE_HELD = {name for name, action in ACTIONS.items() if action.group == "Looking"} | {
    "larger", "smaller", "stronger", "weaker",
}  # fmt: skip
"""What keys may do while something is held; what edits or goes elsewhere waits for the release."""
WALKING = ("Left", "Right", "Up", "Down", "Space", "Tab")
"""Keys that go from control to control once somebody has begun to."""


class MoueWindow(pyglet.window.Window):
    """One window with one document."""

    def __init__(self, settings: Settings | None = None, size: tuple[int, int] = SIZE, **how: Any) -> None:
        how.setdefault("resizable", True)
        how.setdefault("file_drops", True)
        self._open_context(size, how)
        self.stage = Stage(settings or read_settings())
        self.panels = Screen()
        self.ui = ImGuiOnPyglet(self)
        self.kit = Kit(theme.faces(), Keys(self.stage.settings.keys))
        self._dress(self.stage.settings.scale)
        self.drawing = Drawing()
        self.kit.picture = self.drawing.thumbs.of
        self.actions = Actions(self.stage, self.panels, lambda: self.drawing.has_texture, self._ask_menu)
        self.drag = Drag()
        self._opened: object = None
        self._awake_at = time.monotonic()
        self._held_keys: set[str] = set()
        self._pressure = 1.0
        if not pyglet.options.headless:
            self.set_minimum_size(*LEAST)

    def _open_context(self, size: tuple[int, int], how: dict[str, Any]) -> None:
        """Open with OpenGL 4.3 where there is one, else with 3.3."""
        config: Any = gl.Config
        for major, minor in ((4, 3), (3, 3)):
            wanted = config(
                major_version=major, minor_version=minor, forward_compatible=True, double_buffer=True, red_size=8,
                green_size=8, blue_size=8, alpha_size=8,
            )  # fmt: skip
            try:
                super().__init__(size[0], size[1], caption="Moue", config=wanted, vsync=True, **how)
                return
            except Exception:
                if (major, minor) == (3, 3):
                    raise

    # One frame.

    def on_draw(self) -> None:
        """Draw everything; what has not changed is not made again."""
        self.switch_to()
        stage = self.stage
        if stage.settings.scale != self.kit.scale:
            self._dress(stage.settings.scale)
        moving = stage.step()
        if stage.session is not self._opened:
            self._open()
        moving = self._try_on() or moving
        self.ui.begin()
        self.panels.measure(stage, self.kit)
        if stage.session is not None:
            self._draw_head(moving)
        gl.glBindFramebuffer(gl.GL_FRAMEBUFFER, 0)
        gl.glViewport(0, 0, *self.get_framebuffer_size())
        gl.glClearColor(*theme.SLATE)
        gl.glClear(gl.GL_COLOR_BUFFER_BIT)
        drawing = self.drawing
        self.panels.draw(
            stage, self.kit, drawing.texture if stage.session is not None else None, drawing.shown, self.act,
            self.open_demo, (lambda: browse(stage)) if can_browse() else None, drawing.has_texture,
        )  # fmt: skip
        if stage.carried_shape and not any(self.ui.io.mouse_down[:1]):
            self.panels.tray.let_go(stage, self.panels.board.mirrored)
        self.ui.end()
        if drawing.thumbs.step() or moving or stage.words or self.ui.waiting:
            self.wake()
        if stage.keeping is not None:
            stage.keeping.step(stage.work)
        if stage.keeping_marks is not None:
            stage.keeping_marks.step(stage.work)
        if gl.glGetError() == CONTEXT_LOST:
            raise MoueError("the graphics card has dropped the window")
        if stage.closing:
            self.leave()

    def wake(self) -> None:
        """Draw frames for a while: something has happened."""
        self._awake_at = time.monotonic()

    @property
    def awake(self) -> bool:
        """Whether frames are worth drawing."""
        return time.monotonic() - self._awake_at < AWAKE_SECONDS or bool(self.stage.work.jobs)

    @property
    def holding(self) -> bool:
        """Whether something is held that is no step yet: a tool, a carried shape, a cell of the board."""
        return self.drag.active or bool(self.stage.carried_shape) or self.panels.board.drag is not None

    def act(self, action: str) -> bool:
        """Do what a key or a button of this name does; whether there was anything to do."""
        self.wake()
        return self.actions.do(action)

    def _ask_menu(self) -> bool:
        self.kit.wants_menu = bool(self.ui.io.nav_visible)
        return self.kit.wants_menu

    def open_demo(self) -> None:
        """Open the demo."""
        self.actions.open_demo()

    @property
    def thumbs(self) -> Thumbs:
        """The small pictures."""
        return self.drawing.thumbs

    def _dress(self, scale: float) -> None:
        theme.dress(scale)
        self.kit.scale = scale

    def _open(self) -> None:
        """A session has come in the place of another: everything made for the old one goes."""
        self.drag.abandon()
        self.panels.fresh()
        self._opened = self.stage.session
        self.drawing.open(self.stage)
        if self.stage.session is not None:
            self.set_caption(f"Moue: {self.stage.session.title}")

    def _draw_head(self, moving: bool) -> None:
        stage, session = self.stage, self.stage.opened
        if stage.eye is None:
            stage.look_from("front", at_once=True)
        if stage.place == "new":
            self._point()
            if self.drawing.draw_new(stage, self.get_pixel_ratio(), self.drag.active or moving):
                self.wake()
            return
        if stage.carried_shape:
            self.panels.tray.carried_over(stage, self.panels.board.mirrored)
        self._point()
        if stage.place == "paint" and not self.panels.painting.ready_for(session):
            self._prepare_brush()
        panels, ratio = self.panels, self.get_pixel_ratio()
        if self.drawing.draw(stage, panels.painting, panels.trying, ratio, self.drag.active or moving):
            self.wake()

    def _try_on(self) -> bool:
        """Trials run, looks that are held, and let go."""
        stage, trying = self.stage, self.panels.trying
        session = stage.session
        if session is None:
            return False
        held = next((what for name, what in HELD_LOOKS.items() if name in self._held_keys), "")
        if not held and stage.place == "paint" and not self.panels.painting.on_pose:
            held = "neutral"
        if held or (trying.peeking and not stage.peeking):
            stage.guard(lambda: trying.peek(session, held))
        stage.peeking = False
        if not stage.guard(lambda: trying.step(stage)):
            trying.stop(session)
        return trying.running

    def _point(self) -> None:
        """What lies under the pointer: its region, its landmark, its outline."""
        stage = self.stage
        if (self.drag.active or self.ui.wants_mouse) and not stage.carried_shape:
            if not self.panels.painting.stroking:
                stage.hit, stage.pointed = None, ""
            return
        if stage.place == "new":
            stage.hit, stage.pointed = None, pair_at(stage, *stage.pointer).replace("_", " ")
            return
        stage.hit = stage.look_up(*stage.pointer)
        stage.pointed = stage.region_at(stage.hit)
        if stage.place == "marks":
            stage.pointed = mark_at(stage, *stage.pointer).replace("_", " ")

    def _prepare_brush(self) -> None:
        """Make the brush's tables beside the frame loop."""
        session, painting = self.stage.opened, self.panels.painting
        name = "Making the brush ready"
        if all(job.name != name for job in self.stage.work.jobs):
            self.stage.work.begin(
                name, lambda progress: painting.painter_of(session), lambda _: self.wake(), self._no_brush
            )

    def _no_brush(self, words: str) -> None:
        """The brush could not be made: told once, and not tried again on the same surface."""
        self.stage.say(words, "wrong")
        if self.panels.painting.on_pose:
            self.panels.painting.on_pose = False
        elif self.stage.place == "paint":
            self.act("place_mix")

    # Leaving.

    def leave(self) -> None:
        """Close for good: settings are kept, the autosave goes where nothing is lost by it."""
        self.drag.abandon()
        self.stage.work.cancel_all()
        write_settings(self.stage.settings)
        if self.stage.keeping is not None:
            self.stage.keeping.give_up()
        self.stage.give_up_marks()
        self.close()

    def close(self) -> None:
        """Give GL's things back, and the window."""
        if self.context is not None and self._opened != "closed":
            self.switch_to()
            self.drawing.close()
            self.ui.close()
            self._opened = "closed"
        super().close()

    # Events of the pointer.

    def on_mouse_press(self, x: int, y: int, button: int, modifiers: int) -> None:
        """A button goes down: on a panel, or a tool begins."""
        self._moved(x, y)
        self.ui.button(button, True)
        stage, panels = self.stage, self.panels
        if self.ui.wants_mouse or stage.session is None or not stage.in_view(*stage.pointer) or self.drag.active:
            return
        shift = bool(modifiers & key.MOD_SHIFT)
        at = Point(*stage.pointer, pressure=self._pressure, shift=shift)
        turning, moving = (mouse.MIDDLE, mouse.RIGHT) if stage.settings.exchanged else (mouse.RIGHT, mouse.MIDDLE)
        if button == turning:
            self.drag.begin(move(stage) if shift else turn(stage), button)
        elif button == moving:
            self.drag.begin(move(stage), button)
        elif button == mouse.LEFT and stage.place == "mix":
            panels.trying.stop(stage.session)
            pulled = bool(modifiers & key.MOD_ACCEL)
            self.drag.begin(pull(stage, at) if pulled else turn_weight(stage, panels.gauge, at), button)
        elif button == mouse.LEFT and stage.place == "paint":
            if panels.painting.ready_for(stage.session):
                self.drag.begin(paint(stage, panels.painting, at), button)
        elif button == mouse.LEFT and stage.place == "marks":
            self.drag.begin(place(stage, at), button)
        elif button == mouse.LEFT and stage.new_head is not None:
            fitting = panels.fitting
            self.drag.begin(brush_fit(stage, fitting, at) if fitting.brushing else place_pair(stage, at), button)

    def on_mouse_drag(self, x: int, y: int, dx: int, dy: int, buttons: int, modifiers: int) -> None:
        """The pointer moves with a button down."""
        self._moved(x, y)
        shift = bool(modifiers & key.MOD_SHIFT)
        self.drag.move(Point(*self.stage.pointer, float(dx), float(-dy), self._pressure, shift))

    def on_mouse_motion(self, x: int, y: int, dx: int, dy: int) -> None:
        """The pointer moves."""
        self._moved(x, y)

    def on_mouse_release(self, x: int, y: int, button: int, modifiers: int) -> None:
        """A button goes up: a tool ends."""
        self._moved(x, y)
        self.ui.button(button, False)
        self.drag.release(Point(*self.stage.pointer, pressure=self._pressure, released=True), button)

    def on_mouse_scroll(self, x: int, y: int, scroll_x: float, scroll_y: float) -> None:
        """The wheel: on a panel, the brush, or nearer and further."""
        self._moved(x, y)
        self.ui.wheel(scroll_x, scroll_y)
        stage = self.stage
        if self.ui.wants_mouse or stage.session is None or stage.eye is None or not stage.in_view(*stage.pointer):
            return
        if stage.place == "paint" and self.ui.io.key_ctrl:
            self.panels.painting.larger(scroll_y)
        elif stage.place == "paint" and self.ui.io.key_alt:
            self.panels.painting.stronger(scroll_y)
        else:
            hit = stage.look_up(*stage.pointer)
            stage.turn(stage.eye.zoom(scroll_y, hit.point if hit is not None else None))

    def on_mouse_leave(self, x: int, y: int) -> None:
        """The pointer leaves the window."""
        if not self.drag.active:
            self.ui.left()
            self.stage.pointer = (-1.0, -1.0)
        self.wake()

    def press_pen(self, pressure: float) -> None:
        """A pen says how hard it presses, in [0, 1]."""
        self._pressure = min(max(pressure, 0.0), 1.0)

    def _moved(self, x: int, y: int) -> None:
        self.ui.moved(x, y)
        self.stage.pointer = (float(x), float(self.height - y))
        self.wake()

    # Events of the keyboard.

    def on_key_press(self, symbol: int, modifiers: int) -> bool:
        """A key goes down: typed into a field, or an action. Escape takes a drag back."""
        self.wake()
        self.ui.key(symbol, modifiers, True)
        combo = combo_of(symbol, modifiers)
        if symbol == key.ESCAPE:
            self._escape()
            return True
        if self.panels.keys.waiting:
            self.panels.keys.choose(self.stage, self.kit, combo)
            return True
        if self.ui.wants_keys and not combo.startswith("Ctrl+S"):
            return True
        if self.ui.io.nav_visible and combo in WALKING:
            return True
        action = self.kit.keys.action(symbol, modifiers)
        if action in HELD_LOOKS:
            self._held_keys.add(action)
        elif self.holding and action not in WHILE_HELD:
            if action == "undo":
                self._escape()
        elif action and (action == "keys" or not self.stage.dialogs.any_open):
            self.act(action)
        return True

    def on_key_release(self, symbol: int, modifiers: int) -> None:
        """A key goes up."""
        self.wake()
        self.ui.key(symbol, modifiers, False)
        self._held_keys.discard(self.kit.keys.action(symbol, 0))

    def on_text(self, text: str) -> None:
        """Characters are typed."""
        self.wake()
        self.ui.text(text)

    def _escape(self) -> None:
        """A drag is taken back; a trial ends."""
        session = self.stage.session
        if self.stage.carried_shape and session is not None:
            self.stage.carried_shape = ""
            session.abort()
        elif self.drag.active:
            self.drag.abandon()
        elif self.panels.board.drag is not None and session is not None:
            self.panels.board.drag = None
            session.abort()
        elif session is not None and not self.stage.dialogs.any_open:
            self.panels.trying.stop(session)

    # Events of the window.

    def on_activate(self) -> None:
        """The window comes to the front."""
        self.ui.focus(True)
        self.wake()

    def on_deactivate(self) -> None:
        """The window loses the front: nothing is held any more."""
        self.ui.focus(False)
        self._held_keys.clear()
        self.drag.abandon()

    def on_resize(self, width: int, height: int) -> None:
        """The window has another size."""
        self.wake()

    def on_file_drop(self, x: int, y: int, paths: list[str]) -> None:
        """A folder or a file is dropped on the window."""
        self.wake()
        if paths:
            if self.stage.place == "new" and self.stage.session is not None:
                self.stage.open_sculpt(Path(paths[0]))
            else:
                self.stage.unless_unsaved(lambda: self.stage.open(Path(paths[0])))

    def on_close(self) -> None:
        """The person closes the window: asked once where something is not saved, or still being made."""
        self.wake()
        self.stage.unless_unsaved(lambda: setattr(self.stage, "closing", True), work=True)
