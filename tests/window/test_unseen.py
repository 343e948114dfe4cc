"""Frames that nobody looks at change nothing of what is seen: the pictures after them are those of whole frames."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path

import numpy as np

from tests.window.hand import Hand
from tests.window.unseen import looked_at


def _tour(hand: Hand, library: Path) -> list[np.ndarray]:
    """Pictures of one window: empty, with a head as it opens, and the head turned, each with its smooth edges."""
    pictures = [hand.picture()]
    hand.open(library)
    for turned in (False, True):
        if turned:
            hand.press(640, 300, 2)
            hand.drag(700, 330)
            hand.release()
        hand.move(5, 5)
        hand.until(lambda: hand.window.drawing.view._drawn[2] > 0, "smooth edges")
        hand.settle()
        hand.stage.words = []  # which go by the clock
        hand.frames(2)
        pictures.append(hand.picture())
    return pictures


def test_pictures_are_the_same_after_unseen_frames(new_hand: Callable[..., Hand], library: Path) -> None:
    seen = []
    for looking in (looked_at(), nullcontext()):
        with looking:
            seen.append(_tour(new_hand(), library))
    for one, other in zip(*seen, strict=True):
        assert one.std() > 1.0
        assert np.array_equal(one, other)
    assert not np.array_equal(seen[0][1], seen[0][2])
