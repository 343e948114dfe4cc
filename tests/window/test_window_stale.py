"""What is drawn is never what was drawn for something else that has been freed: keys hold objects, not addresses."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.viewer.session.pointing import look_up
from composer.viewer.session.same_key import same_key
from tests.window.hand import Hand
from tests.window.test_window_paint import near, to_paint


def test_keys_agree_by_value_for_words_and_numbers_and_by_identity_for_all_else() -> None:
    array = np.zeros(3)
    assert same_key(("mask", array, 2, None, Path("a")), ("mask", array, 2, None, Path("a")))
    assert not same_key(("mask", array), ("mask", array.copy()))
    assert not same_key(("mask", 1), ("mask", 2))
    assert not same_key(("mask",), ("mask", None))
    assert not same_key((), ("mask",))
    assert same_key(("a", ("b", array)), ("a", ("b", array)))
    assert not same_key(None, array) and not same_key(array, 0)


def test_a_key_keeps_what_it_was_made_from_so_that_no_address_comes_back() -> None:
    key: tuple = ("mask", np.full(1000, 0.0))
    stale = 0
    for value in range(1, 50):
        wanted = ("mask", np.full(1000, float(value)))
        stale += same_key(key, wanted)
        key = wanted
    assert stale == 0


def test_the_heat_of_a_stroke_is_that_of_the_mask_in_every_frame(open_dome: Hand) -> None:
    hand = open_dome
    to_paint(hand)
    painting, start = hand.window.panels.painting, near(hand, -30.0, 0.0)
    hand.press(*hand.at_vertex(start))
    x, y = hand.at_vertex(start)
    stale = 0
    for _ in range(60):
        for _ in range(2):  # two dabs a frame: the mask between them is freed without being drawn
            painting.dab(hand.session, look_up(hand.stage, x, y))
            x += 1.0
        hand.frames(1)
        stale += _is_stale(hand)
    hand.release()
    assert stale == 0, f"{stale} of 60 frames show the heat of another mask"


def _is_stale(hand: Hand) -> bool:
    """Whether the heat on the head is that of another mask than the one being painted; holds no array afterwards."""
    return not np.array_equal(hand.window.drawing.shown.cover, _heat(hand.window.panels.painting.effective))


def _heat(mask: np.ndarray) -> np.ndarray:
    """(n, 4) uint8, the colours of a mask as the picture's own scale gives them."""
    from composer.picture.heat import mask_scale

    return np.round(255.0 * np.clip(np.nan_to_num(mask_scale().colours(mask)), 0.0, 1.0)).astype(np.uint8)
