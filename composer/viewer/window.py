"""The window: events to panels and tools, one frame after the other.

Events of the pointer and of keys have handlers of their own. Nothing here knows how a pose or a mask is made.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pyglet
from pyglet import gl

from composer.errors import MoueError
from composer.viewer.actions import Actions
from composer.viewer.input_queue import InputQueue
from composer.viewer.key_events import KeyEvents
from composer.viewer.panels.memory import Panels
from composer.viewer.pointer_events import PointerEvents
from composer.viewer.render.picking import Picker
from composer.viewer.scene.drawing import Drawing
from composer.viewer.scene.thumbs import Thumbs
from composer.viewer.screen import draw_screen, measure
from composer.viewer.session.browse import browse, can_browse
from composer.viewer.session.brush_job import prepare_brush
from composer.viewer.session.compare import Compare
from composer.viewer.session.dropping import take_dropped
from composer.viewer.session.looking import look_from
from composer.viewer.session.reference_pictures import ReferencePictures
from composer.viewer.session.saving import give_up_marks, unless_unsaved
from composer.viewer.session.settings import Settings, read_settings, write_settings
from composer.viewer.session.shared_ground import painting_words
from composer.viewer.session.stage import Stage
from composer.viewer.tools.drag import Drag
from composer.viewer.tools.under_pointer import point_at_nothing, point_out
from composer.viewer.ui import theme
from composer.viewer.ui.imgui_pyglet import ImGuiOnPyglet
from composer.viewer.ui.keys import Keys
from composer.viewer.ui.kit import Kit

SIZE, LEAST = (1280, 800), (900, 560)
AWAKE_SECONDS = 0.6
WORKING_SECONDS = 0.1
CONTEXT_LOST = 0x0507


class MoueWindow(pyglet.window.Window):
    """One window with one document."""

    def __init__(self, settings: Settings | None = None, size: tuple[int, int] = SIZE, **how: Any) -> None:
        how.setdefault("resizable", True)
        how.setdefault("file_drops", True)
        self._open_context(size, how)
        self.stage = Stage(settings or read_settings())
        self.panels = Panels()
        self.ui = ImGuiOnPyglet(self)
        self.kit = Kit(theme.faces(), Keys(self.stage.settings.keys))
        self._dress(self.stage.settings.scale)
        self.drawing = Drawing()
        self.kit.picture = self.drawing.thumbs.of
        self.drawing.thumbs.by_chance = lambda name: self.panels.trying.by_chance(name)
        self.kit.loupe = lambda: self.drawing.loupe
        self.kit.ghosts = lambda: self.drawing.ghosts
        self.actions = Actions(self.stage, self.panels, lambda: self.drawing.has_texture, self._ask_menu)
        self.drag = Drag()
        self._opened: object = None
        self._library: object = None
        self._awake_at, self._drawn_at = time.monotonic(), 0.0
        self._only_plays = False
        self._pointer_events = PointerEvents(
            self.stage, self.panels, self.ui, self.drag, lambda: self.height, self.wake
        )
        self._key_events = KeyEvents(self.stage, self.panels, self.ui, self.kit, self.drag, self.act, self.wake)
        self._input = InputQueue(self._hand_on, self.wake, self._lay_out)
        self.push_handlers(self._input)
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
        self._drawn_at = time.monotonic()
        stage = self.stage
        if stage.settings.scale != self.kit.scale:
            self._dress(stage.settings.scale)
        under_way = stage.work.jobs
        moving = stage.step()
        if stage.work.jobs != under_way:
            self.wake()
        if stage.session is not self._opened:
            self._open()
        elif stage.session is not None and not stage.session.arriving:
            self._follow_head()
        self._input.catch_up()
        tried = self._try_on()
        self._only_plays = self.panels.time.running and not (moving or self.panels.trying.running or self.drag.active)
        moving = tried or moving
        self._begin()
        if stage.session is not None:
            self._draw_head(moving)
        gl.glBindFramebuffer(gl.GL_FRAMEBUFFER, 0)
        gl.glViewport(0, 0, *self.get_framebuffer_size())
        gl.glClearColor(*theme.SLATE)
        gl.glClear(gl.GL_COLOR_BUFFER_BIT)
        self._draw_controls()
        self.ui.end()
        self._input.laid_out()
        if self.drawing.thumbs.step() or (moving and not self._only_plays) or stage.words or self.ui.waiting:
            self.wake()
        if stage.keeping is not None:
            stage.keeping.step(stage.work)
        if stage.keeping_marks is not None:
            stage.keeping_marks.step(stage.work)
        if stage.others is not None and (told := stage.others.step(stage.work)):
            stage.say(told, "wrong")
        if gl.glGetError() == CONTEXT_LOST:
            raise MoueError("the graphics card has dropped the window")
        if stage.closing:
            self.leave()

    def _begin(self) -> None:
        """Begin a frame of the controls, and find what lies under the pointer."""
        self.ui.begin()
        measure(self.stage, self.kit)
        if self.stage.session is not None:
            self._follow_pointer()

    def _draw_controls(self) -> None:
        stage, drawing = self.stage, self.drawing
        draw_screen(
            stage, self.kit, self.panels, drawing.texture if stage.session is not None else None, drawing.other,
            drawing.shown,
            self.act, self.open_demo, (lambda: browse(stage)) if can_browse() else None, drawing.has_texture,
        )  # fmt: skip
        if stage.carried_shape and not any(self.ui.io.mouse_down[:1]):
            self.panels.tray.let_go(stage, self.panels.board.mirrored)

    def _lay_out(self) -> None:
        """The controls once, without the head and without a picture: what was pressed answers."""
        self._begin()
        self._draw_controls()
        self.ui.drop()

    def _hand_on(self, name: str, args: tuple[Any, ...]) -> None:
        """Give one event to the handlers of the pointer and the keys."""
        for handlers in (self._pointer_events, self._key_events):
            handler = getattr(handlers, name, None)
            if handler is not None:
                handler(*args)

    def wake(self) -> None:
        """Draw frames for a while: something has happened."""
        self._awake_at = time.monotonic()

    @property
    def awake(self) -> bool:
        """Whether a frame is worth drawing now. While nothing but a job is under way they come seldom: the job needs
        the processor, of which a frame takes more than its own time where there is no card. While nothing but a clip
        plays, each of its frames is drawn once."""
        now = time.monotonic()
        if self.stage.others is not None and self.stage.others.due:
            self.wake()
        if now - self._awake_at < AWAKE_SECONDS or self.panels.time.due(self.stage):
            return True
        return bool(self.stage.work.jobs) and now - self._drawn_at >= WORKING_SECONDS

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
        self.panels.time.sound.close()
        self.panels.fresh()
        self.stage.asked_place, self.stage.compare = None, Compare()
        self.stage.references = ReferencePictures()
        self._opened = self.stage.session
        self._library = None if self.stage.session is None else self.stage.session.evaluated.library
        self.drawing.open(self.stage)
        if self.stage.session is not None:
            self.set_caption(f"Moue: {self.stage.session.title}")
            self._say_missing_letters()

    def _say_missing_letters(self) -> None:
        """Tell once where names have letters that this machine cannot draw."""
        session = self.stage.opened
        recipes = [recipe.name for recipe in session.project.recipes]
        name = theme.letters_missing(self.kit.faces.plain, [*session.head.shape_names, *session.region_names, *recipes])
        if name:
            self.stage.say(
                f"This machine has no typeface with all letters of {name!r}: they are drawn as ? here. A typeface for "
                "that script, installed on the system, is used from the next start on."
            )

    def _follow_head(self) -> None:
        """Show another head that is in the place of the document's head, by a swap or by undo."""
        stage = self.stage
        if stage.opened.evaluated.library is self._library:
            return
        stage.asked_place = None
        self._library, stage.picker = stage.opened.evaluated.library, Picker(stage.opened.head)
        self.drag.abandon()
        self.drawing.open(stage)
        look_from(stage, "front", at_once=True)

    def _follow_pointer(self) -> None:
        """What lies under the pointer, and the shape that it carries."""
        stage = self.stage
        if stage.eye is None:
            look_from(stage, "front", at_once=True)
        if stage.place != "new" and stage.carried_shape:
            self.panels.tray.carried_over(stage, self.panels.board.mirrored)
        self._point()

    def _draw_head(self, moving: bool) -> None:
        stage, session = self.stage, self.stage.opened
        if stage.place == "new":
            if self.drawing.draw_new(stage, self.get_pixel_ratio(), self.drag.active or moving):
                self.wake()
            return
        panels, ratio = self.panels, self.get_pixel_ratio()
        if stage.place == "paint" and not panels.painting.ready_for(session):
            prepare_brush(stage, panels.painting, lambda: self.act("place_mix"))
        still_to_come = self.drawing.draw(
            stage, panels.painting, panels.trying, panels.time, ratio, self.drag.active or moving
        )
        if still_to_come and not self._only_plays:
            self.wake()

    def _try_on(self) -> bool:
        """Trials run, looks that are held, and let go."""
        stage, trying = self.stage, self.panels.trying
        session = stage.session
        if session is None:
            return False
        held = self._key_events.held_look
        if not held and stage.place == "paint" and not self.panels.painting.on_pose:
            held = "neutral"
        if held or (trying.peeking and not stage.peeking):
            stage.guard(lambda: trying.peek(session, held))
        stage.peeking = False
        if not stage.guard(lambda: trying.step(stage)):
            trying.stop(session)
        plays = self.panels.time.step(stage, trying)
        tried = trying.on_board(session) if trying.trial or trying.found else None
        stage.on_board = tried or self.panels.time.recipe
        return trying.running or plays

    def _point(self) -> None:
        """What lies under the pointer: its region, its landmark, its outline."""
        stage = self.stage
        if (self.drag.active or self.ui.wants_mouse) and not stage.carried_shape:
            if self.panels.painting.stroking:
                stage.pointed = painting_words(stage, self.panels.painting, None)
            else:
                point_at_nothing(stage)
        else:
            point_out(stage, self.panels.fitting, self.panels.painting)

    # Leaving.

    def leave(self) -> None:
        """Close for good: settings are kept, the autosave goes where nothing is lost by it."""
        self.drag.abandon()
        self.stage.work.cancel_all()
        write_settings(self.stage.settings)
        if self.stage.keeping is not None:
            self.stage.keeping.give_up()
        give_up_marks(self.stage)
        if self.stage.others is not None:
            self.stage.others.close()
        self.close()

    def close(self) -> None:
        """Give GL's things back, and the window."""
        if self.context is not None and self._opened != "closed":
            self.switch_to()
            self.panels.time.sound.close()
            self.drawing.close()
            self.ui.close()
            self._opened = "closed"
        super().close()

    def press_pen(self, pressure: float) -> None:
        """A pen says how hard it presses, in [0, 1]."""
        self._pointer_events.press_pen(pressure)

    # Events of the window.

    def on_activate(self) -> None:
        """The window comes to the front."""
        self.ui.focus(True)
        self.wake()

    def on_deactivate(self) -> None:
        """The window loses the front: nothing is held any more."""
        self._input.hurry()
        self.ui.focus(False)
        self._key_events.release_all()
        self.drag.abandon()

    def on_resize(self, width: int, height: int) -> None:
        """The window has another size."""
        self.wake()

    def on_file_drop(self, x: int, y: int, paths: list[str]) -> None:
        """A folder or a file is dropped on the window."""
        self.wake()
        if paths:
            take_dropped(self.stage, Path(paths[0]))

    def on_close(self) -> None:
        """The person closes the window: asked once where something is not saved, or still being made."""
        self.wake()
        close = lambda: setattr(self.stage, "closing", True)  # noqa: E731
        unless_unsaved(self.stage, close, work=True, without="Close without saving")
