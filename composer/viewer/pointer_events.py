"""Pyglet's events of the pointer, handed to the panels first and then to the tools of the head."""

from __future__ import annotations

from collections.abc import Callable

from pyglet.window import key, mouse

from composer.viewer.panels.memory import Panels
from composer.viewer.session.pointing import look_up
from composer.viewer.session.softening import soften_by_steps
from composer.viewer.session.stage import Stage
from composer.viewer.tools.drag import Drag
from composer.viewer.tools.gestures import Button, Point
from composer.viewer.tools.registry import tool_for
from composer.viewer.ui.imgui_pyglet import ImGuiOnPyglet


class PointerEvents:
    """Handlers to push on a window; `height` gives its height in points, `wake` asks for frames."""

    def __init__(
        self, stage: Stage, panels: Panels, ui: ImGuiOnPyglet, drag: Drag, height: Callable[[], int],
        wake: Callable[[], None],
    ) -> None:  # fmt: skip
        self._stage, self._panels, self._ui, self._drag = stage, panels, ui, drag
        self._height, self._wake = height, wake
        self._pressure = 1.0

    def press_pen(self, pressure: float) -> None:
        """A pen says how hard it presses, in [0, 1]."""
        self._pressure = min(max(pressure, 0.0), 1.0)

    def on_mouse_press(self, x: int, y: int, button: int, modifiers: int) -> None:
        """A button goes down: on a panel, or a tool begins."""
        self._moved(x, y)
        self._ui.button(button, True)
        stage = self._stage
        if self._ui.wants_mouse or stage.session is None or not stage.in_view(*stage.pointer) or self._drag.active:
            return
        shift = bool(modifiers & key.MOD_SHIFT)
        held = frozenset({"Shift"} if shift else ()) | frozenset({"Ctrl"} if modifiers & key.MOD_ACCEL else ())
        desk = self._panels.desk(stage)
        tool = tool_for(desk, self._meaning(button), held)
        if tool is not None:
            at = Point(*stage.pointer, pressure=self._pressure, shift=shift)
            self._drag.begin(tool.begin(desk, at), button)

    def _meaning(self, button: int) -> Button:
        """What a button is for: the right one turns and the middle one moves, unless the person has exchanged them."""
        if button == mouse.LEFT:
            return "left"
        turning = mouse.MIDDLE if self._stage.settings.exchanged else mouse.RIGHT
        return "turn" if button == turning else "move"

    def on_mouse_drag(self, x: int, y: int, dx: int, dy: int, buttons: int, modifiers: int) -> None:
        """The pointer moves with a button down."""
        self._moved(x, y)
        shift = bool(modifiers & key.MOD_SHIFT)
        self._drag.move(Point(*self._stage.pointer, float(dx), float(-dy), self._pressure, shift))

    def on_mouse_motion(self, x: int, y: int, dx: int, dy: int) -> None:
        """The pointer moves."""
        self._moved(x, y)

    def on_mouse_release(self, x: int, y: int, button: int, modifiers: int) -> None:
        """A button goes up: a tool ends."""
        self._moved(x, y)
        self._ui.button(button, False)
        self._drag.release(Point(*self._stage.pointer, pressure=self._pressure, released=True), button)

    def on_mouse_scroll(self, x: int, y: int, scroll_x: float, scroll_y: float) -> None:
        """The wheel: on a panel, the brush, or nearer and further."""
        self._moved(x, y)
        self._ui.wheel(scroll_x, scroll_y)
        stage, painting = self._stage, self._panels.painting
        if self._ui.wants_mouse or stage.session is None or stage.eye is None or not stage.in_view(*stage.pointer):
            return
        fitting = self._panels.fitting
        by_hand = stage.place == "new" and (fitting.gripping or fitting.brushing)
        if stage.place in ("mix", "paint") and self._ui.io.key_shift:
            soften_by_steps(stage, scroll_y or scroll_x)
        elif stage.place == "paint" and self._ui.io.key_ctrl:
            painting.larger(scroll_y)
        elif by_hand and (self._drag.active or self._ui.io.key_ctrl):
            fitting.larger(scroll_y)
            self._drag.move(Point(*stage.pointer, pressure=self._pressure))
        elif stage.place == "paint" and self._ui.io.key_alt:
            painting.stronger(scroll_y)
        else:
            hit = look_up(stage, *stage.pointer)
            stage.turn(stage.eye.zoom(scroll_y, hit.point if hit is not None else None))

    def on_mouse_leave(self, x: int, y: int) -> None:
        """The pointer leaves the window."""
        if not self._drag.active:
            self._ui.left()
            self._stage.pointer = (-1.0, -1.0)
        self._wake()

    def _moved(self, x: int, y: int) -> None:
        self._ui.moved(x, y)
        self._stage.pointer = (float(x), float(self._height() - y))
        self._wake()
