"""The strip of time: shown by a key, played at the clip's rate, scrubbed, and out of the way of the recipe's edits."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated_clip import evaluated_clip
from composer.viewer.session.clip_on_face import PREPARING
from tests.window.hand import Hand


class Clock:
    """A clock that stands until it is told to go on, in seconds."""

    def __init__(self, hand: Hand) -> None:
        self.now = hand.stage.clock()
        hand.stage.clock = lambda: self.now

    def on(self, hand: Hand, seconds: float) -> None:
        """Let time pass, and one frame be drawn."""
        self.now += seconds
        hand.frames()


@pytest.fixture
def strip(open_demo: Hand) -> Hand:
    """The demo with its strip of time shown and its clip prepared."""
    open_demo.key("S")
    open_demo.until(lambda: all(job.name != PREPARING for job in open_demo.stage.work.jobs), "the clip")
    open_demo.frames(2)
    return open_demo


def pose_at(hand: Hand, frame: int) -> np.ndarray:
    """(n, 3) mm, the pose of a frame of the demo's clip as a bake would write it."""
    clip = evaluated_clip(hand.session.evaluated, "tide")
    return clip.evaluated.pose(clip.frame(frame))


def test_the_strip_stays_out_of_sight_until_asked_for(open_demo: Hand) -> None:
    hand = open_demo
    high = hand.stage.view[3]
    assert "lane" not in hand.seen
    hand.click_on("Time")
    assert "lane" in hand.seen and hand.stage.view[3] < high
    hand.click_on("Close time")
    assert "lane" not in hand.seen and hand.stage.view[3] == high


def test_space_plays_the_clip_on_the_face_at_its_rate(strip: Hand) -> None:
    hand, clock = strip, Clock(strip)
    own = hand.session.positions().copy()
    hand.key("Space")
    clock.on(hand, 46.01 / 24)
    assert hand.window.panels.time.frame == 46
    np.testing.assert_allclose(hand.session.positions(), pose_at(hand, 46), atol=1e-3)
    assert np.abs(hand.session.positions() - own).max() > 1.0
    hand.key("Space")
    frame = hand.window.panels.time.frame
    clock.on(hand, 1.0)
    assert hand.window.panels.time.frame == frame
    hand.click_on("Close time")
    np.testing.assert_array_equal(hand.session.positions(), own)


def test_frames_that_come_too_late_are_left_out_and_counted(strip: Hand) -> None:
    hand, clock = strip, Clock(strip)
    hand.key("Home")
    hand.key("Space")
    strip_state = hand.window.panels.time
    before = strip_state.shown
    clock.on(hand, 1.0001 / 24)
    assert (strip_state.frame, strip_state.shown - before, strip_state.dropped) == (1, 1, 0)
    clock.on(hand, 4 / 24)
    assert (strip_state.frame, strip_state.shown - before, strip_state.dropped) == (5, 2, 3)
    clock.on(hand, 70 / 24)  # past the end of 72 frames, and round
    assert strip_state.frame == 3 and strip_state.running


def test_without_loop_it_stands_at_the_end(strip: Hand) -> None:
    hand, clock = strip, Clock(strip)
    hand.key("Shift+Space")
    hand.key("Home")
    hand.key("Space")
    clock.on(hand, 10.0)
    assert hand.window.panels.time.frame == 72 and not hand.window.panels.time.running


def test_wheel_keys_and_a_drag_scrub(strip: Hand) -> None:
    hand, time = strip, strip.window.panels.time
    left, top, right, bottom = hand.seen["lane"]
    hand.press((left + right) / 2, bottom - 8)
    assert time.frame == 36 and not time.running
    hand.drag(right, bottom - 8)
    hand.release()
    assert time.frame == 72
    hand.wheel(1, left + 60, bottom - 8)
    assert time.frame == 71
    hand.key("Shift+Left")
    hand.key("Shift+Left")
    hand.key("Shift+Right")
    assert time.frame == 70
    np.testing.assert_allclose(hand.session.positions(), pose_at(hand, 70), atol=1e-3)


def test_an_edit_of_the_recipe_brings_the_recipe_back(strip: Hand) -> None:
    hand, time = strip, strip.window.panels.time
    hand.key("End")
    assert time.seen and hand.stage.seen_recipe.name == "tide"
    hand.click_on("recipe call")
    assert not time.seen and hand.stage.seen_recipe.name == "call"
    mixed = hand.session.evaluated.pose(hand.session.project.recipe("call"))
    np.testing.assert_allclose(hand.session.positions(), mixed, atol=1e-3)


def test_a_look_at_the_neutral_comes_and_goes_over_the_clip(strip: Hand) -> None:
    hand = strip
    hand.window.panels.time.go(hand.stage, 20)
    hand.frames()
    shown = hand.session.positions().copy()
    hand.hold("N")
    np.testing.assert_array_equal(hand.session.positions(), hand.session.head.neutral.astype(np.float32))
    hand.let_go("N")
    np.testing.assert_array_equal(hand.session.positions(), shown)


def test_a_document_without_a_clip_says_so(new_hand: Callable[..., Hand], library: Path) -> None:
    hand = new_hand()
    hand.open(library)
    hand.key("S")
    hand.key("Space")
    assert "lane" not in hand.seen and not hand.window.panels.time.running and not hand.wrong
