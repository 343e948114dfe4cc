"""Pyglet's events of the keyboard: typed into a field, an action, something held to look at, or Escape."""

from __future__ import annotations

from collections.abc import Callable

from pyglet.window import key

from composer.viewer.panels.board.chosen_cell import type_pointed
from composer.viewer.panels.memory import Panels
from composer.viewer.screen import TAB_ORDER
from composer.viewer.session.stage import Stage
from composer.viewer.tools.drag import Drag
from composer.viewer.ui.imgui_pyglet import ImGuiOnPyglet
from composer.viewer.ui.keys import ACTIONS, combo_of
from composer.viewer.ui.kit import Kit

HELD_LOOKS = {"rest": "neutral", "before": "before", "flip_ab": "other"}
"""Keys that are held to look at something else, and what."""
WHILE_HELD = {name for name, action in ACTIONS.items() if action.group == "Looking"} | {
    "larger", "smaller", "stronger", "weaker",
}  # fmt: skip
"""What keys may do while something is held; what edits or goes elsewhere waits for the release."""
NUMBER_KEYS = frozenset("0123456789.,")
"""Keys that begin a weight while the pointer is over a cell of the board."""
ON_CELLS = {
    "Left": "cell_left", "Right": "cell_right", "Up": "cell_up", "Down": "cell_down", "Enter": "type_cell",
    "Space": "type_cell",
}  # fmt: skip
"""What keys do once somebody has walked to the cells of the board."""
WALKING = ("Left", "Right", "Up", "Down", "Space", "Tab")
"""Keys that go from control to control once somebody has begun to."""
MAY_WALK = ("Left", "Right", "Up", "Down", "Space", "Home", "End", "PageUp", "PageDown")
"""Keys that Dear ImGui would take for the beginning of such a walk."""


class KeyEvents:
    """Handlers to push on a window; `act` does what an action's name says, `wake` asks for frames."""

    def __init__(
        self, stage: Stage, panels: Panels, ui: ImGuiOnPyglet, kit: Kit, drag: Drag, act: Callable[[str], bool],
        wake: Callable[[], None],
    ) -> None:  # fmt: skip
        self._stage, self._panels, self._ui, self._kit, self._drag = stage, panels, ui, kit, drag
        self._act, self._wake = act, wake
        self._held: set[str] = set()

    @property
    def held_look(self) -> str:
        """What a key that is held asks to look at: "neutral", "before" or "other"; "" for nothing."""
        return next((what for name, what in HELD_LOOKS.items() if name in self._held), "")

    def release_all(self) -> None:
        """No key is held any more."""
        self._held.clear()

    def on_key_press(self, symbol: int, modifiers: int) -> bool:
        """A key goes down: typed into a field, or an action. Escape cancels a drag."""
        self._wake()
        combo = combo_of(symbol, modifiers)
        if symbol == key.TAB and combo.removeprefix("Ctrl+") in ("Tab", "Shift+Tab") and self._leaves_panel(combo):
            return True
        plain = not modifiers & (key.MOD_ACCEL | key.MOD_ALT | key.MOD_SHIFT)
        if self._walks_on_cells("Enter" if plain and symbol in (key.ENTER, key.NUM_ENTER) else combo):
            return True
        if self._walks_on_pictures("Enter" if plain and symbol in (key.ENTER, key.NUM_ENTER) else combo):
            return True
        if not self._is_ours(combo):
            self._ui.key(symbol, modifiers, True)
        if symbol == key.ESCAPE:
            self._escape()
            return True
        if self._panels.keys.waiting:
            self._panels.keys.choose(self._stage, self._kit, combo)
            return True
        if self._ui.wants_keys and not combo.startswith("Ctrl+S"):
            return True
        if self._ui.io.nav_visible and combo in WALKING:
            return True
        if self._types_weight(combo):
            return True
        action = self._kit.keys.action(symbol, modifiers)
        if action in HELD_LOOKS:
            self._held.add(action)
        elif self.holding and action not in WHILE_HELD:
            if action == "undo":
                self._escape()
        elif action and (action == "keys" or not self._stage.dialogs.any_open):
            self._act(action)
        return True

    def on_key_release(self, symbol: int, modifiers: int) -> None:
        """A key goes up."""
        self._wake()
        self._ui.key(symbol, modifiers, False)
        self._held.discard(self._kit.keys.action(symbol, 0))

    def on_text(self, text: str) -> None:
        """Characters are typed."""
        self._wake()
        self._ui.text(text)

    @property
    def holding(self) -> bool:
        """Whether something is held and not yet an undo step: a tool, a carried shape, a cell of the board."""
        panels = self._panels
        held = panels.board.drag is not None or panels.time_panel.hand.drag is not None
        return held or self._drag.active or bool(self._stage.carried_shape)

    def _leaves_panel(self, combo: str) -> bool:
        """Whether Tab goes on to another panel, as Ctrl and Tab always does: never out of a sheet or a menu."""
        if self._stage.session is None or self._stage.dialogs.any_open or self._ui.menu_open or self.holding:
            return False
        back, stops = "Shift" in combo, self._kit.stops
        if combo.startswith("Ctrl"):
            return stops.next_panel(TAB_ORDER, back)
        return stops.leave(TAB_ORDER, back, self._ui.io.nav_visible or self._ui.wants_keys)

    def _walks_on_cells(self, combo: str) -> bool:
        """Whether the keyboard is on the cells of the board, and the key goes on to another or begins a weight."""
        board = self._panels.board
        if combo not in ON_CELLS or not board.walked or board.typing is not None or self.holding:
            return False
        if self._stage.dialogs.any_open or self._ui.menu_open or self._panels.keys.waiting:
            return False
        self._act(ON_CELLS[combo])
        board.walks_back = board.typing is not None
        return True

    def _walks_on_pictures(self, combo: str) -> bool:
        """Whether the keyboard is on a grid of pictures, and the key goes on to another one or presses it."""
        if self._kit.grid is None or self.holding or self._panels.keys.waiting:
            return False
        if self._stage.dialogs.any_open or self._ui.menu_open:
            return False
        return self._kit.grid.key(combo)

    def _is_ours(self, combo: str) -> bool:
        """Whether a key that could walk from control to control is not for walking, as nobody has begun to: Tab does.
        Dear ImGui would take it as a beginning, and the same key would then do another thing the next time."""
        if combo.rpartition("+")[2] not in MAY_WALK:
            return False
        ui, walks = self._ui, self._ui.io.nav_visible
        return not (walks or ui.wants_keys or ui.menu_open or self._stage.dialogs.any_open)

    def _types_weight(self, combo: str) -> bool:
        """Whether a number begins over a cell of the board: its weight is typed there, whatever else the key does."""
        if combo not in NUMBER_KEYS or self.holding or self._stage.dialogs.any_open:
            return False
        return type_pointed(self._panels.board, self._stage)

    def _escape(self) -> None:
        """Cancel the drag under way, ask about no place any more, or end the trial."""
        session = self._stage.session
        if self._stage.carried_shape and session is not None:
            self._stage.carried_shape = ""
            session.abort()
        elif self._drag.active:
            self._drag.abandon()
        elif self._panels.board.drag is not None and session is not None:
            self._panels.board.drag = None
            session.abort()
        elif self._panels.time_panel.hand.drag is not None:
            self._panels.time_panel.hand.abandon(self._stage, self._panels.time)
        elif self._stage.references.placing and not self._stage.dialogs.any_open and not self._ui.menu_open:
            self._stage.references.placing = ""
        elif self._stage.asked_place is not None and not self._stage.dialogs.any_open:
            self._stage.asked_place = None
        elif session is not None and not self._stage.dialogs.any_open:
            self._panels.trying.stop(session)
