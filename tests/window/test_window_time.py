"""The strip of time: shown by a key, played at the clip's rate, scrubbed, and out of the way of the recipe's edits."""

from __future__ import annotations

import wave
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated_clip import evaluated_clip
from composer.viewer.scene.ghost_lines import lines_apart
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


def key_named(hand: Hand, **says: object) -> str:
    """The control of the first key of the shown clip that says this."""
    keys = hand.session.project.clip("tide").keys
    found = (i for i, key in enumerate(keys) if all(getattr(key, what) == value for what, value in says.items()))
    return f"key {next(found)}"


def at_time(hand: Hand, seconds: float) -> tuple[float, float]:
    """The place of a time in the lane, low in it, where no picture lies."""
    keys = hand.session.project.clip("tide").keys
    first, last = (hand.middle(f"key {i}")[0] for i in (0, 5))  # the clip's first and last moment
    assert keys[0].time == 0.0 and keys[5].time == 3.0
    return first + (last - first) * seconds / 3.0, hand.seen["lane"][3] - 4


def test_a_key_is_dragged_in_one_step_and_taken_back_by_escape(strip: Hand) -> None:
    hand, before = strip, strip.session.project.clip("tide")
    name = key_named(hand, recipe="two_minds")
    x, y = hand.middle(name)
    hand.press(x, y)
    hand.drag(at_time(hand, 1.5)[0], y)
    assert hand.session.previewing
    hand.key("Escape")
    assert hand.session.project.clip("tide") == before and not hand.session.history.can_undo
    hand.release()
    hand.press(*hand.middle(name))
    hand.drag(at_time(hand, 1.5)[0], y)
    hand.release()
    assert hand.session.project.clip("tide").keys[3].time == pytest.approx(1.5, abs=0.5 / 24)
    assert len(hand.session.history.steps) == 2
    hand.key("Ctrl+Z")
    assert hand.session.project.clip("tide") == before


def test_ctrl_and_drag_copies_and_delete_deletes(strip: Hand) -> None:
    hand, before = strip, strip.session.project.clip("tide")
    x, y = hand.middle(key_named(hand, recipe="half_believed"))
    hand.press(x, y)
    hand._modifiers = 2
    hand.window.ui.io.add_key_event(hand_ctrl(), True)
    hand.drag(at_time(hand, 2.5)[0], y)
    hand.window.ui.io.add_key_event(hand_ctrl(), False)
    hand._modifiers = 0
    hand.release()
    keys = hand.session.project.clip("tide").keys
    assert len(keys) == len(before.keys) + 1 and set(before.keys) < set(keys)
    (new,) = set(keys) - set(before.keys)
    assert new.recipe == "half_believed" and new.time == pytest.approx(2.5, abs=0.5 / 24)
    hand.key("Delete")
    assert set(hand.session.project.clip("tide").keys) == set(before.keys)


def hand_ctrl() -> object:
    """Dear ImGui's name of the key Ctrl."""
    from imgui_bundle import imgui

    return imgui.Key.mod_ctrl


def test_several_keys_are_picked_by_a_drag_and_stretched_by_the_end_of_their_bar(strip: Hand) -> None:
    hand, before = strip, strip.session.project.clip("tide")
    hand.hold("Shift")
    hand.press(*at_time(hand, 0.5))
    hand.drag(*at_time(hand, 2.3))
    hand.release()
    hand.let_go("Shift")
    picked = {key for key in before.keys if 0.5 <= key.time <= 2.3}
    assert hand.window.panels.time.picked == picked
    hand.press(*hand.middle("stretch right"))
    hand.drag(at_time(hand, 1.4)[0], hand.middle("stretch right")[1])
    hand.release()
    after = hand.session.project.clip("tide")
    assert len(hand.session.history.steps) == 2 and len(after.keys) == len(before.keys)
    for old, new in zip(before.keys, after.keys, strict=True):  # half the way from .6 s, on frames
        expected = 0.6 + (old.time - 0.6) / 2 if old in picked else old.time
        assert new.time == pytest.approx(expected, abs=0.6 / 24) and (old in picked or new == old)


def test_keys_are_set_from_the_open_recipe_and_from_one_cell(strip: Hand) -> None:
    hand, time = strip, strip.window.panels.time
    hand.click_on("recipe call")
    hand.click(*at_time(hand, 1.5))
    hand.key("U")
    (key,) = time.picked
    assert (key.recipe, key.weight, key.time) == ("call", None, 1.5)
    called = hand.session.evaluated.pose(hand.session.project.recipe("call"))
    hand.until(lambda: all(job.name != PREPARING for job in hand.stage.work.jobs), "the clip")
    hand.frames(2)
    clip = evaluated_clip(hand.session.evaluated, "tide")
    np.testing.assert_allclose(hand.session.positions(), clip.pose(1.5), atol=1e-3)
    assert np.abs(clip.pose(1.5) - called).max() < np.abs(called - hand.session.head.neutral).max() / 3
    hand.session.region, hand.session.shape = "all", "au43_left"
    hand.click(*at_time(hand, 0.875))
    hand.key("Shift+U")
    (key,) = time.picked
    assert key.cell == ("all", "au43_left", False) and key.weight == pytest.approx(1.0)


def test_a_cell_key_is_weighed_on_its_curve(strip: Hand) -> None:
    hand = strip
    name = key_named(hand, shape="au43_right", weight=1.0)
    hand.click_on(name)
    x, y = hand.middle(name)
    top, foot = hand.seen["lane"][1], hand.seen["lane"][3]
    hand.press(x, y)
    hand.drag(x, (top + 18 + foot - 5) / 2, steps=8)
    hand.release()
    (key,) = hand.window.panels.time.picked
    assert key.shape == "au43_right" and key.time == 0.875 and key.weight == pytest.approx(0.5, abs=0.04)
    assert len(hand.session.history.steps) == 2


def test_a_key_of_a_cell_gives_the_weight_that_is_shown_beside_what_the_pose_gives(strip: Hand) -> None:
    hand, time = strip, strip.window.panels.time
    hand.click_on("recipe wink")
    pose = next(cell for cell in hand.session.project.recipe("half_believed").cells)
    hand.click(*at_time(hand, 0.6))
    hand.session.region, hand.session.shape = pose.region, pose.shape
    hand.key("Shift+U")
    (key,) = time.picked
    assert key.weight == pytest.approx(0.0, abs=1e-6)  # the pose gives all of it already


def test_next_key_copy_and_paste_by_keys(strip: Hand) -> None:
    hand, time = strip, strip.window.panels.time
    before = strip.session.project.clip("tide")
    hand.key("Home")
    hand.key("Shift+Down")
    assert {key.recipe for key in time.picked} == {"half_believed"} and time.frame == 14
    hand.key("Ctrl+C")
    hand.key("End")
    hand.key("Shift+Left")
    hand.key("Ctrl+V")
    (key,) = time.picked
    assert key.recipe == "half_believed" and key.time == 71 / 24
    hand.key("Ctrl+Shift+Left")
    (key,) = time.picked
    assert key.time == 70 / 24 and len(hand.session.project.clip("tide").keys) == len(before.keys) + 1


def test_a_new_clip_is_made_named_and_played(new_hand: Callable[..., Hand], library: Path) -> None:
    hand = new_hand()
    hand.open(library)
    hand.key("S")
    hand.click_on("Clip")
    (clip,) = hand.session.project.clips
    assert clip.name == "clip" and clip.length == 2.0 and "lane" in hand.seen
    hand.click_on("Clip")
    hand.click_on("clip name")
    hand.key("Ctrl+A")
    hand.text("ebb")
    hand.key("Enter")
    assert hand.session.project.clips[0].name == "ebb" and hand.window.panels.time.name == "ebb"
    hand.click_on("clip length")
    hand.key("Ctrl+A")
    hand.text("0.5")
    hand.key("Enter")
    assert hand.session.project.clip("ebb").length == 0.5
    assert hand.window.panels.time.made.n_frames == 13


def test_ghosts_are_there_while_time_stands_and_not_while_it_runs(strip: Hand) -> None:
    hand = strip
    hand.key("Home")
    hand.key("Shift+Down")
    hand.key("H")
    assert set(hand.window.drawing.ghosts) == {"before", "after"}
    hand.key("Space")
    assert hand.window.drawing.ghosts == {}
    hand.key("Space")
    hand.key("End")
    assert set(hand.window.drawing.ghosts) == {"before"}
    hand.key("H")
    assert hand.window.drawing.ghosts == {}


def test_lines_of_a_ghost_are_where_it_differs() -> None:
    flat = np.full((40, 60, 4), 255, dtype=np.uint8)
    flat[:, :, :3] = 200
    edged = flat.copy()
    edged[:, 30:, :3] = 80
    assert not lines_apart(edged, edged)[:, :, 3].any()
    drawn = lines_apart(edged, flat)[:, :, 3]
    assert (drawn[:, 29:31] == 255).all() and not drawn[:, :26].any() and not drawn[:, 34:].any()


def test_a_sound_beside_the_document_plays_in_step(new_hand: Callable[..., Hand], own_demo: Path) -> None:
    with wave.open(str(own_demo.with_name("tide.wav")), "wb") as file:
        file.setparams((1, 2, 8000, 0, "NONE", ""))
        file.writeframes(bytes(2 * 8000 * 3))
    hand = new_hand()
    hand.open(own_demo)
    hand.key("S")
    time, sound = hand.window.panels.time, hand.window.panels.time.sound
    assert sound.path == own_demo.with_name("tide.wav") and sound.heard and not sound.playing
    sought: list[float] = []
    seek, clock = sound._player.seek, Clock(hand)
    sound._player.seek = lambda at: (sought.append(at), seek(at))
    hand.key("Space")
    assert sound.playing and sought == [0.0]
    clock.on(hand, 2.0)  # time that the sound has not lived through
    assert time.frame == 48 and sought[-1] == pytest.approx(2.0)
    hand.click_on("Sound")
    assert not sound.playing and time.running
    hand.click_on("Sound")
    assert sound.playing
    hand.key("Space")
    assert not sound.playing


def test_a_sound_that_is_none_is_told_and_the_clip_plays(new_hand: Callable[..., Hand], own_demo: Path) -> None:
    own_demo.with_name("tide.wav").write_bytes(b"no sound at all")
    hand = new_hand()
    hand.open(own_demo)
    hand.key("S")
    assert any(line.startswith("tide.wav cannot be played") for line in hand.wrong) and "Sound" not in hand.seen
    hand.key("Space")
    assert hand.window.panels.time.running
