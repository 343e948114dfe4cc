"""The window: events to panels and tools, one frame after the other, GL things made and given back.

Pyglet's events come in here and nowhere else. A drag on the head is a tool's generator; a key is an action of
`composer.viewer.keys`. Nothing here knows how a pose or a mask is made.
"""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path
from typing import Any

import pyglet
from numpy.typing import NDArray
from pyglet import gl
from pyglet.window import key, mouse

from composer.errors import MoueError
from composer.head.head import Head
from composer.mixing.recipe import ALL
from composer.progress import Progress
from composer.viewer import theme
from composer.viewer.card import FROM_VERTICES, Card, card_for
from composer.viewer.demo import demo_document
from composer.viewer.imgui_pyglet import ImGuiOnPyglet
from composer.viewer.keys import Keys, combo_of
from composer.viewer.kit import Kit
from composer.viewer.overlay import Overlays, Shown
from composer.viewer.panels.brush import mirror
from composer.viewer.panels.row_menu import copy_row, paste_into
from composer.viewer.picture_on_head import Outline, look_of
from composer.viewer.screen import Screen
from composer.viewer.settings import Settings, data_folder, read_settings, write_settings
from composer.viewer.stage import OVERLAYS, PLACES, Stage
from composer.viewer.texture import texture_of
from composer.viewer.thumbs import Thumbs
from composer.viewer.tools.gauge import turn_weight
from composer.viewer.tools.gestures import Abandoned, Point, Tool
from composer.viewer.tools.look_about import move, turn
from composer.viewer.tools.place_mark import mark_at, place
from composer.viewer.tools.stroke import paint
from composer.viewer.view3d import View3D

SIZE, LEAST = (1280, 800), (900, 560)
STILL_SECONDS, AWAKE_SECONDS = 0.25, 0.6
TURN_PX, ZOOM_STEPS = 30.0, 2.0
MOST_SHADED = 200_000
CONTEXT_LOST = 0x0507
HELD_LOOKS = {"rest": "neutral", "before": "before", "flip_ab": "other"}
"""Keys that are held to look at something else, and what."""
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
        scale = self.stage.settings.scale
        self.kit = Kit(theme.faces(), Keys(self.stage.settings.keys))
        self._dress(scale)
        self.head_view = View3D()
        self.thumbs = Thumbs(self.head_view)
        self.kit.picture = self.thumbs.of
        self.overlays, self.outline = Overlays(), Outline()
        self._tool: Tool | None = None
        self._button = 0
        self._opened: object = None
        self._opened_head: Head | None = None
        self._texture: int | None = None
        self._picture_of_skin: Any = None
        self._shown = Shown()
        self._card: Card | None = None
        self.card_from = FROM_VERTICES
        self._moved_at = self._awake_at = time.monotonic()
        self._held_keys: set[str] = set()
        self._pressure = 1.0
        if hasattr(self, "set_minimum_size") and not pyglet.options.headless:
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
        session = stage.session
        if session is not self._opened:
            self._open()
        if session is not None and session.head is not self._opened_head:
            self._show_head(session.head)
        moving = self._try_on() or moving
        self.ui.begin()
        self.panels.measure(stage, self.kit)
        if session is not None and stage.eye is None:
            stage.look_from("front", at_once=True)
        if session is not None:
            self._carry()
            self._point()
            self._draw_head(moving)
        gl.glBindFramebuffer(gl.GL_FRAMEBUFFER, 0)
        gl.glViewport(0, 0, *self.get_framebuffer_size())
        gl.glClearColor(*theme.SLATE)
        gl.glClear(gl.GL_COLOR_BUFFER_BIT)
        self.panels.draw(
            stage, self.kit, self._texture if session is not None else None, self._shown, self.act, self.open_demo,
            self._browse if can_browse() else None, self._picture_of_skin is not None,
        )  # fmt: skip
        self._carried_out()
        self.ui.end()
        if self.thumbs.step() or moving or stage.words:
            self.wake()
        if stage.keeping is not None:
            stage.keeping.step(stage.work)
        if gl.glGetError() == CONTEXT_LOST:
            raise MoueError("the graphics card has dropped the window")
        if stage.closing:
            self.leave()

    def _dress(self, scale: float) -> None:
        theme.dress(scale)
        self.kit.scale = scale

    def wake(self) -> None:
        """Draw frames for a while: something has happened."""
        self._awake_at = time.monotonic()

    @property
    def awake(self) -> bool:
        """Whether frames are worth drawing."""
        return time.monotonic() - self._awake_at < AWAKE_SECONDS or bool(self.stage.work.jobs)

    def _open(self) -> None:
        """A session has come in the place of another: everything made for the old one goes."""
        session = self.stage.session
        self._abandon()
        self.panels.trying = type(self.panels.trying)()
        self.panels.painting = type(self.panels.painting)()
        self._opened, self._opened_head = session, None
        if self._card is not None:
            self._card.close()
            self._card = None
        if session is None:
            return
        self._show_head(session.head)
        self.thumbs.open(session)
        self._card = card_for(session, self.head_view.software and self.card_from == FROM_VERTICES, self.card_from)
        self._picture_of_skin = texture_of(session.head)
        self.set_caption(f"Moue: {session.title}")
        head = session.head
        self.stage.work.begin(
            "Looking at hollows", lambda progress: hollows_of(head, progress), self._shade, quiet=True
        )

    def _show_head(self, head: Head) -> None:
        """Draw another head; one with the same mesh keeps its shading."""
        same = self._opened_head is not None and head.polygons is self._opened_head.polygons
        self._opened_head = head
        if not same:
            self.head_view.open(head)

    def _shade(self, found: tuple[NDArray, NDArray] | None) -> None:
        session = self.stage.session
        if session is not None and found is not None and len(found[0]) == session.head.n_vertices:
            self.head_view.shade(*found)

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
        running = False

        def step() -> None:
            nonlocal running
            running = trying.step(stage)

        if not stage.guard(step):
            trying.stop(session)
        return running

    def _carry(self) -> None:
        """A shape carried over the face is shown in the region under it before it is let go."""
        stage, session = self.stage, self.stage.session
        assert session is not None
        if not stage.carried_shape:
            return
        if stage.in_view(*stage.pointer):
            self.panels.tray.over_face(stage, self.panels.board.mirrored)
        elif session.previewing:
            session.abort()

    def _carried_out(self) -> None:
        """The button was let go over nothing that takes a shape."""
        if self.stage.carried_shape and not any(self.ui.io.mouse_down[:1]):
            self.panels.tray.let_go(self.stage, self.panels.board.mirrored)

    def _point(self) -> None:
        """What lies under the pointer: its region, its landmark, its outline."""
        stage = self.stage
        busy = self._tool is not None or self.ui.wants_mouse
        if busy and not stage.carried_shape:
            if not self.panels.painting.stroking:
                stage.hit, stage.pointed = None, ""
            return
        stage.hit = stage.look_up(*stage.pointer)
        name = stage.region_at(stage.hit)
        stage.pointed = name
        if stage.place == "marks":
            stage.pointed = mark_at(stage, *stage.pointer).replace("_", " ")

    def _draw_head(self, moving: bool) -> None:
        stage, session, screen = self.stage, self.stage.session, self.panels
        assert session is not None and stage.eye is not None
        card = self._card if session.live is not None else None
        frame = session.frame() if card is None else None
        changed = card.follow() if card is not None else frame is not None and frame.changed
        if changed:
            self._moved_at = time.monotonic()
            self.wake()
        still = time.monotonic() - self._moved_at > STILL_SECONDS and self._tool is None and not moving
        painting = screen.painting
        if stage.place == "paint" and not painting.ready_for(session):
            self._prepare_brush()
        raw = painting.effective if painting.stroking else None
        self._shown = self.overlays.of(stage, screen.trying, still, raw)
        look = look_of(stage, self._shown, self.outline, painting, self._picture_of_skin)
        scale = self.get_pixel_ratio()
        size = (max(round(stage.view[2] * scale), 1), max(round(stage.view[3] * scale), 1))
        if card is not None:
            pose = card.pose
            self._texture = self.head_view.draw_buffers(
                pose.positions_buffer, pose.normals_buffer, look, stage.eye, size, changed, still
            )
        elif frame is not None:
            self._texture = self.head_view.draw(
                frame.positions, frame.normals, look, stage.eye, size, frame.touched, still
            )
        if not still:
            self.wake()

    def _prepare_brush(self) -> None:
        """Make the brush's tables beside the frame loop."""
        session, painting = self.stage.session, self.panels.painting
        assert session is not None
        name = "Making the brush ready"
        if all(job.name != name for job in self.stage.work.jobs):
            self.stage.work.begin(name, lambda progress: painting.painter_of(session), lambda _: self.wake())

    # What a person does.

    def act(self, action: str) -> bool:
        """Do what a key or a button of this name does; whether there was anything to do."""
        stage, screen, session = self.stage, self.panels, self.stage.session
        self.wake()
        always = {
            "open": self._ask_path, "keys": lambda: setattr(stage.dialogs, "keys", not stage.dialogs.keys),
        }  # fmt: skip
        if action in always:
            always[action]()
            return True
        if session is None:
            return False
        painting = screen.painting
        chosen = session.region
        acts = {
            "save": stage.save, "save_as": lambda: setattr(stage.dialogs, "save_as", True),
            "bake": lambda: setattr(stage.dialogs, "bake", True),
            "undo": lambda: stage.guard(session.undo), "redo": lambda: stage.guard(session.redo),
            "front": lambda: stage.look_from("front"), "three_quarter": lambda: stage.look_from("three_quarter"),
            "profile": lambda: stage.look_from("profile"), "below": lambda: stage.look_from("below"),
            "frame": stage.frame_region, "cage": lambda: setattr(stage, "wire", not stage.wire),
            "overlay": self._next_overlay,
            "turn_left": lambda: self._turn(TURN_PX, 0), "turn_right": lambda: self._turn(-TURN_PX, 0),
            "turn_up": lambda: self._turn(0, TURN_PX), "turn_down": lambda: self._turn(0, -TURN_PX),
            "nearer": lambda: self._zoom(ZOOM_STEPS), "further": lambda: self._zoom(-ZOOM_STEPS),
            "new_recipe": lambda: screen.recipes.new(stage), "duplicate": lambda: screen.recipes.duplicate(stage),
            "flip": lambda: screen.recipes.flip(stage), "keep_shape": lambda: screen.recipes.keep(stage),
            "next_recipe": lambda: self._step_recipe(1), "previous_recipe": lambda: self._step_recipe(-1),
            "copy": lambda: copy_row(stage, chosen), "paste": lambda: paste_into(stage, chosen),
            "more": lambda: screen.board.nudge(stage, 0.05), "less": lambda: screen.board.nudge(stage, -0.05),
            "clear_cell": lambda: screen.board.clear(stage),
            "cell_up": lambda: screen.board.step(stage, -1, 0), "cell_down": lambda: screen.board.step(stage, 1, 0),
            "cell_left": lambda: screen.board.step(stage, 0, -1), "cell_right": lambda: screen.board.step(stage, 0, 1),
            "type_cell": lambda: screen.board.type_chosen(stage),
            "cell_menu": lambda: screen.board.ask_menu(stage),
            "solo": lambda: self._hold("solo"), "mute": lambda: self._hold("mute"),
            "link": lambda: setattr(session, "linked", not session.linked),
            "larger": lambda: painting.larger(1), "smaller": lambda: painting.larger(-1),
            "stronger": lambda: painting.stronger(1), "weaker": lambda: painting.stronger(-1),
            "paint": lambda: setattr(painting, "kind", "paint"), "erase": lambda: setattr(painting, "kind", "erase"),
            "soften": lambda: setattr(painting, "kind", "soften"),
            "mirror": lambda: mirror(stage, painting, not painting.mirrored),
            "invert": lambda: stage.place == "paint" and stage.guard(lambda: painting.whole(session, "invert")),
        }  # fmt: skip
        acts |= {f"place_{name}": (lambda name=name: self._go(name)) for name in PLACES}  # type: ignore[misc]
        if action not in acts:
            return False
        acts[action]()
        return True

    def open_demo(self) -> None:
        """Open the demo; the first time it is made, which takes a few seconds."""
        folder = data_folder() / "demo"
        self.stage.work.begin("The demo", lambda progress: demo_document(folder, progress), self.stage.open)

    def _go(self, name: str) -> None:
        session = self.stage.session
        assert session is not None
        self.panels.trying.stop(session)
        self.stage.place = name  # type: ignore[assignment]
        if name == "paint" and session.region == ALL and session.project.regions:
            session.region = session.project.regions[0].name

    def _hold(self, which: str) -> None:
        session = self.stage.session
        assert session is not None
        session.held.toggle(which, ("row", session.region))
        self.stage.guard(session.follow)

    def _turn(self, dx: float, dy: float) -> None:
        self._moved_at = time.monotonic()
        if self.stage.eye is not None:
            self.stage.turn(self.stage.eye.orbit(dx, dy))

    def _zoom(self, steps: float) -> None:
        self._moved_at = time.monotonic()
        if self.stage.eye is not None:
            self.stage.turn(self.stage.eye.zoom(steps))

    def _next_overlay(self) -> None:
        names = [n for n in OVERLAYS if n != "skin" or self._picture_of_skin is not None]
        self.stage.overlay = names[(names.index(self.stage.overlay) + 1) % len(names)]

    def _step_recipe(self, by: int) -> None:
        session = self.stage.session
        assert session is not None
        names = [r.name for r in session.project.recipes]
        if names:
            self.panels.trying.stop(session)
            at = names.index(session.recipe_name) if session.recipe_name in names else 0
            session.choose_recipe(names[(at + by) % len(names)])

    def _ask_path(self) -> None:
        if can_browse():
            self._browse()
        else:
            self.stage.dialogs.open_path = True

    def _browse(self) -> None:
        """Ask the machine's own dialog for a folder, beside the frame loop."""
        from imgui_bundle import portable_file_dialogs as dialogs

        asked = dialogs.select_folder("Open a library")

        def wait(progress: Progress) -> str:
            while not asked.ready(50):
                progress(0.5, "waiting for a choice")
            return asked.result()

        def chosen(path: str) -> None:
            if path:
                self.stage.unless_unsaved(lambda: self.stage.open(Path(path)))

        self.stage.work.begin("Choosing", wait, chosen)

    # Leaving.

    def leave(self) -> None:
        """Close for good: settings are kept, the autosave goes where nothing is lost by it."""
        self._abandon()
        self.stage.work.cancel_all()
        write_settings(self.stage.settings)
        if self.stage.keeping is not None:
            self.stage.keeping.give_up()
        self.close()

    def close(self) -> None:
        """Give GL's things back, and the window."""
        if self.context is not None and self._opened != "closed":
            self.switch_to()
            self.thumbs.close()
            if self._card is not None:
                self._card.close()
            self.head_view.close()
            self.ui.close()
            self._opened = "closed"
        super().close()

    # Events.

    def on_mouse_press(self, x: int, y: int, button: int, modifiers: int) -> None:
        """A button goes down: on a panel, or a tool begins."""
        self._moved(x, y)
        self.ui.button(button, True)
        stage = self.stage
        if self.ui.wants_mouse or stage.session is None or not stage.in_view(*stage.pointer) or self._tool is not None:
            return
        shift = bool(modifiers & key.MOD_SHIFT)
        at = Point(*stage.pointer, pressure=self._pressure, shift=shift)
        turning, moving = (mouse.MIDDLE, mouse.RIGHT) if stage.settings.exchanged else (mouse.RIGHT, mouse.MIDDLE)
        if button == turning:
            self._begin(move(stage) if shift else turn(stage), button)
        elif button == moving:
            self._begin(move(stage), button)
        elif button == mouse.LEFT and stage.place == "mix":
            self.panels.trying.stop(stage.session)
            self._begin(turn_weight(stage, self.panels.gauge, at), button)
        elif button == mouse.LEFT and stage.place == "paint":
            if self.panels.painting.ready_for(stage.session):
                self._begin(paint(stage, self.panels.painting, at), button)
        elif button == mouse.LEFT:
            self._begin(place(stage, at), button)

    def on_mouse_drag(self, x: int, y: int, dx: int, dy: int, buttons: int, modifiers: int) -> None:
        """The pointer moves with a button down."""
        self._moved(x, y)
        if self._tool is not None:
            self._send(
                Point(*self.stage.pointer, float(dx), float(-dy), self._pressure, bool(modifiers & key.MOD_SHIFT))
            )

    def on_mouse_motion(self, x: int, y: int, dx: int, dy: int) -> None:
        """The pointer moves."""
        self._moved(x, y)

    def on_mouse_release(self, x: int, y: int, button: int, modifiers: int) -> None:
        """A button goes up: a tool ends."""
        self._moved(x, y)
        self.ui.button(button, False)
        if self._tool is not None and button == self._button:
            self._send(Point(*self.stage.pointer, pressure=self._pressure, released=True))

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
            self._moved_at = time.monotonic()
            stage.turn(stage.eye.zoom(scroll_y, hit.point if hit is not None else None))

    def on_mouse_leave(self, x: int, y: int) -> None:
        """The pointer leaves the window."""
        if self._tool is None:
            self.ui.left()
            self.stage.pointer = (-1.0, -1.0)
        self.wake()

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
        elif action and not self._covered(action):
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

    def on_activate(self) -> None:
        """The window comes to the front."""
        self.ui.focus(True)
        self.wake()

    def on_deactivate(self) -> None:
        """The window loses the front: nothing is held any more."""
        self.ui.focus(False)
        self._held_keys.clear()
        self._abandon()

    def on_resize(self, width: int, height: int) -> None:
        """The window has another size."""
        self.wake()

    def on_file_drop(self, x: int, y: int, paths: list[str]) -> None:
        """A folder or a file is dropped on the window."""
        self.wake()
        if paths:
            self.stage.unless_unsaved(lambda: self.stage.open(Path(paths[0])))

    def on_close(self) -> None:
        """The person closes the window: asked once where something is not saved."""
        self.wake()
        self.stage.unless_unsaved(lambda: setattr(self.stage, "closing", True))

    def press_pen(self, pressure: float) -> None:
        """A pen says how hard it presses, in [0, 1]."""
        self._pressure = min(max(pressure, 0.0), 1.0)

    def _moved(self, x: int, y: int) -> None:
        self.ui.moved(x, y)
        self.stage.pointer = (float(x), float(self.height - y))
        self.wake()

    def _covered(self, action: str) -> bool:
        """Whether a sheet lies over the window, which keys then leave alone."""
        dialogs = self.stage.dialogs
        asking = dialogs.leave or dialogs.save_as or dialogs.open_path or dialogs.waiting is not None
        return action != "keys" and (dialogs.keys or dialogs.bake or asking)

    def _escape(self) -> None:
        """A drag is taken back; a trial ends."""
        session = self.stage.session
        if self.stage.carried_shape and session is not None:
            self.stage.carried_shape = ""
            session.abort()
        elif self._tool is not None:
            self._abandon()
        elif session is not None and not self._covered(""):
            self.panels.trying.stop(session)

    def _begin(self, tool: Tool, button: int) -> None:
        self._tool, self._button = tool, button
        try:
            next(tool)
        except StopIteration:
            self._tool = None

    def _send(self, point: Point) -> None:
        if self._tool is None:
            return
        try:
            self._tool.send(point)
        except StopIteration:
            self._tool = None

    def _abandon(self) -> None:
        tool, self._tool = self._tool, None
        if tool is not None:
            try:
                tool.throw(Abandoned())
            except (StopIteration, Abandoned):
                self._tool = None


def can_browse() -> bool:
    """Whether this machine has a dialog for files that works."""
    if os.name == "nt" or shutil.which("osascript"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")) and any(
        shutil.which(each) for each in ("zenity", "kdialog", "qarma", "matedialog")
    )


def hollows_of(head: Head, progress: Progress) -> tuple[NDArray, NDArray] | None:
    """(n,) how open to the sky every vertex of the head at rest is and (n, 16) how it lies in the window's light; None
    for heads too large for that."""
    from composer.picture.figure import Figure
    from composer.viewer.daylight import daylight

    if head.n_vertices > MOST_SHADED:
        return None
    progress(0.2, "finding hollows")
    figure = Figure.of(head, 0)
    openness = figure.rest.openness
    progress(0.7, "finding shadows")
    return openness, daylight(figure)
