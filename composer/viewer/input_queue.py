"""What the person does, kept in order until it can be judged by what was under it when it happened.

A press opens a field, and the letters after it are meant for that field; but which control holds the keyboard or the
pointer is known only after the controls were laid out again. So events wait here. Before one that is judged (a button,
a key, the wheel) is handed on, the window lays its controls out as often as that takes, without drawing the head. On a
slow machine all that has happened since the last picture is caught up with in one go, and nothing is lost.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

MOVES = ("on_mouse_motion", "on_mouse_drag", "on_mouse_leave")
"""Events that are not judged by what is under them: those in a row are handed on together, but only after what was
pressed or let go before them has been answered where it was."""
AFTER_DEED, AFTER_MOVE = 2, 1
"""Layouts before the next event is judged: after a deed one in which a control answers, and one from which it is known
that the control holds the keyboard (Dear ImGui, `ImGuiIO.WantTextInput`, set at the next frame); after a move one."""


class InputQueue:
    """Handlers to push on a window. `hand_on(name, args)` gives an event to those that do something; `wake` asks for
    frames. `lay_out` lays the window's controls out once; it is called from `catch_up` alone."""

    def __init__(
        self, hand_on: Callable[[str, tuple[Any, ...]], None], wake: Callable[[], None], lay_out: Callable[[], None]
    ) -> None:
        self._hand_on, self._wake, self._lay_out = hand_on, wake, lay_out
        self._events: deque[tuple[str, tuple[Any, ...]]] = deque()
        self._wanted, self._deed = 0, False
        self._at: tuple[int, int] | None = None

    def laid_out(self) -> None:
        """The controls were laid out: one layout less is needed before the next event is judged."""
        self._wanted = max(self._wanted - 1, 0)
        self._deed = self._deed and self._wanted > 0

    def catch_up(self) -> None:
        """Hand on everything that has happened, each event when it can be judged."""
        while self._events:
            name, args = self._events[0]
            if name in MOVES:
                if self._deed:
                    self._answer()
                self._give()
                self._wanted = max(self._wanted, AFTER_MOVE)
                continue
            if name in ("on_mouse_press", "on_mouse_release", "on_mouse_scroll") and args[:2] != self._at:
                if self._deed:
                    self._answer()
                self._at = args[:2]
                self._hand_on("on_mouse_motion", (*args[:2], 0, 0))
                self._wanted = max(self._wanted, AFTER_MOVE)
            self._answer()
            self._give()
            if name == "on_text":
                while self._events and self._events[0][0] == "on_text":
                    self._give()
            self._wanted, self._deed = AFTER_DEED, True

    def _answer(self) -> None:
        """Lay out until what was handed on has been answered, where it happened: the pointer has not moved on yet."""
        while self._wanted:
            self._lay_out()
            self.laid_out()

    def hurry(self) -> None:
        """Hand on everything at once, judged by the last layout: the window is about to lose the person."""
        while self._events:
            self._give()

    def _give(self) -> None:
        name, args = self._events.popleft()
        if name.startswith("on_mouse") and name != "on_mouse_leave":
            self._at = args[:2]
        self._hand_on(name, args)

    def _keep(self, name: str, *args: Any) -> bool:
        self._events.append((name, args))
        self._wake()
        return True

    # Pyglet's events, as a window tells them.

    def on_mouse_press(self, x: int, y: int, button: int, modifiers: int) -> bool:
        """A button goes down."""
        return self._keep("on_mouse_press", x, y, button, modifiers)

    def on_mouse_drag(self, x: int, y: int, dx: int, dy: int, buttons: int, modifiers: int) -> bool:
        """The pointer moves with a button down."""
        return self._keep("on_mouse_drag", x, y, dx, dy, buttons, modifiers)

    def on_mouse_motion(self, x: int, y: int, dx: int, dy: int) -> bool:
        """The pointer moves."""
        return self._keep("on_mouse_motion", x, y, dx, dy)

    def on_mouse_release(self, x: int, y: int, button: int, modifiers: int) -> bool:
        """A button goes up."""
        return self._keep("on_mouse_release", x, y, button, modifiers)

    def on_mouse_scroll(self, x: int, y: int, scroll_x: float, scroll_y: float) -> bool:
        """The wheel turns."""
        return self._keep("on_mouse_scroll", x, y, scroll_x, scroll_y)

    def on_mouse_leave(self, x: int, y: int) -> bool:
        """The pointer leaves the window."""
        return self._keep("on_mouse_leave", x, y)

    def on_key_press(self, symbol: int, modifiers: int) -> bool:
        """A key goes down."""
        return self._keep("on_key_press", symbol, modifiers)

    def on_key_release(self, symbol: int, modifiers: int) -> bool:
        """A key goes up."""
        return self._keep("on_key_release", symbol, modifiers)

    def on_text(self, text: str) -> bool:
        """Characters are typed."""
        return self._keep("on_text", text)
