"""States of the strip of time: for `tests.window.screens`."""

from __future__ import annotations

from collections.abc import Callable

from tests.window.hand import Hand


def _strip(hand: Hand) -> None:
    hand.key("S")
    hand.settle()


def time_plays(hand: Hand) -> None:
    """A clip that plays, some of its frames dropped."""
    _strip(hand)
    hand.key("Space")
    hand.until(lambda: hand.window.panels.time.frame > 20, "some frames")


def time_ghosts_and_curve(hand: Hand) -> None:
    """A key of one cell picked, its curve, and the lines of the faces beside."""
    _strip(hand)
    hand.click_on("key 7")
    hand.key("H")
    hand.frames(4)
    hand.move(5.0, 5.0)


def time_keys_picked(hand: Hand) -> None:
    """Several keys picked, with the bar that stretches them."""
    _strip(hand)
    left, _, right, foot = hand.seen["lane"]
    hand.hold("Shift")
    hand.press(left + 0.18 * (right - left), foot - 4)
    hand.drag(left + 0.8 * (right - left), foot - 4)
    hand.release()
    hand.let_go("Shift")


def time_clip_menu(hand: Hand) -> None:
    """The menu of the clip."""
    _strip(hand)
    hand.click_on("Clip")
    hand.frames(3)


def time_key_menu(hand: Hand) -> None:
    """The menu of a key."""
    _strip(hand)
    hand.click(*hand.middle("key 3"), 4)
    hand.frames(3)


TIME_STATES: dict[str, Callable[[Hand], None]] = {
    call.__name__: call
    for call in (time_plays, time_ghosts_and_curve, time_keys_picked, time_clip_menu, time_key_menu)
}
