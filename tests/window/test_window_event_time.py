"""Events are judged by what was under them when they happened, however slow the window draws.

Each test does what a person does within one picture of a window that draws five a second: everything happens, and then
one frame is drawn.
"""

from __future__ import annotations

import numpy as np

from composer.viewer.input_queue import AFTER_DEED, AFTER_MOVE, InputQueue
from tests.window.hand import Hand, _strokes


class Burst:
    """A hand that is quicker than the window: its events come between two frames."""

    def __init__(self, hand: Hand) -> None:
        self.hand = hand

    def move(self, x: float, y: float, down: int = 0) -> None:
        px, py = self.hand._pixel(x, y)
        name = "on_mouse_drag" if down else "on_mouse_motion"
        self.hand._tell(name, px, py, 1, 1, *((down, 0) if down else ()))

    def press(self, x: float, y: float) -> None:
        self.hand._tell("on_mouse_press", *self.hand._pixel(x, y), 1, 0)

    def release(self, x: float, y: float) -> None:
        self.hand._tell("on_mouse_release", *self.hand._pixel(x, y), 1, 0)

    def click(self, x: float, y: float) -> None:
        self.move(x, y)
        self.press(x, y)
        self.release(x, y)

    def key(self, combo: str) -> None:
        for symbol, modifiers in _strokes(combo):
            self.hand._tell("on_key_press", symbol, modifiers)
        for symbol, modifiers in reversed(_strokes(combo)):
            self.hand._tell("on_key_release", symbol, modifiers)

    def text(self, words: str) -> None:
        for letter in words:
            self.hand._tell("on_key_press", *_strokes(letter.upper())[0])
            self.hand._tell("on_text", letter)
            self.hand._tell("on_key_release", *_strokes(letter.upper())[0])


def test_letters_after_a_click_go_into_the_field_that_was_clicked(open_demo: Hand) -> None:
    hand, burst = open_demo, Burst(open_demo)
    burst.click(*hand.middle("search shapes"))
    burst.text("smile")
    hand.frames(1)
    hand.frames(2)
    assert hand.window.panels.tray.search == "smile" and hand.stage.place == "mix"


def test_a_click_elsewhere_ends_the_field_and_the_key_after_it_is_a_shortcut(open_demo: Hand) -> None:
    hand, burst = open_demo, Burst(open_demo)
    hand.click_on("search shapes")
    before = hand.window.panels.tray.search
    burst.click(*hand.in_region("cheek_right"))
    burst.key("P")
    hand.frames(1)
    assert hand.stage.place == "paint" and hand.window.panels.tray.search == before


def test_no_quick_chord_is_lost(open_demo: Hand) -> None:
    hand, burst = open_demo, Burst(open_demo)
    count = len(hand.session.project.recipes)
    for _ in range(3):
        burst.key("Ctrl+D")
    burst.key("Ctrl+Z")
    hand.frames(1)
    assert len(hand.session.project.recipes) == count + 2


def test_a_picture_is_dropped_where_the_button_was_let_go(open_demo: Hand) -> None:
    hand, burst = open_demo, Burst(open_demo)
    start = hand.middle("shape anger")
    goal = hand.in_region("cheek_left")
    away = hand.in_region("cheek_right")
    burst.move(*start)
    burst.press(*start)
    for share in np.linspace(0.2, 1.0, 5):
        burst.move(*(a + share * (b - a) for a, b in zip(start, goal, strict=True)), down=1)
    burst.release(*goal)
    burst.move(*away)
    hand.frames(1)
    hand.frames(2)
    regions = {cell.region for cell in hand.session.recipe.cells if cell.shape == "anger"}
    assert "cheek_left" in regions and not hand.wrong, hand.told


def test_a_button_is_pressed_where_the_pointer_was_and_not_where_it_has_gone(open_demo: Hand) -> None:
    hand, burst = open_demo, Burst(open_demo)
    burst.press(*hand.middle("Paint"))
    burst.release(*hand.middle("Paint"))
    burst.move(*hand.middle("Landmarks"))
    hand.frames(1)
    assert hand.stage.place == "paint"


def test_deeds_wait_for_the_layouts_that_they_need_and_moves_do_not() -> None:
    done: list[str] = []
    queue = InputQueue(lambda name, args: done.append(name), lambda: None, lambda: done.append("layout"))
    queue.on_mouse_motion(1, 1, 0, 0)
    queue.on_mouse_motion(2, 2, 1, 1)
    queue.on_mouse_press(2, 2, 1, 0)
    queue.on_text("a")
    queue.on_text("b")
    queue.on_mouse_release(9, 9, 1, 0)
    queue.on_mouse_motion(5, 5, 1, 1)
    queue.catch_up()
    layout = ["layout"]
    assert done == [
        "on_mouse_motion", "on_mouse_motion", *AFTER_MOVE * layout, "on_mouse_press", *AFTER_DEED * layout, "on_text",
        "on_text", *AFTER_DEED * layout, "on_mouse_motion", *AFTER_MOVE * layout, "on_mouse_release",
        *AFTER_DEED * layout, "on_mouse_motion",
    ]  # fmt: skip
    count = len(done)
    queue.catch_up()
    assert len(done) == count, "nothing comes twice"
