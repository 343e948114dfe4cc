"""Landmarks on the head: placed, dragged, taken back; the regions made from them follow."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.awkward_heads import awkward, write
from tests.window.hand import Hand


def at_mark(hand: Hand, name: str) -> tuple[float, float]:
    """Where a landmark is seen now."""
    left, top, _, _ = hand.stage.view
    place = hand.session.head.landmarks.position(name, hand.session.positions())
    seen, _ = hand.stage.eye.project(np.asarray(place)[None], *hand.stage.view_size)
    return left + float(seen[0, 0]), top + float(seen[0, 1])


def to_marks(hand: Hand) -> None:
    """Go to the landmarks, the head as it is at rest."""
    hand.key("L")
    hand.settle()


def test_a_mark_is_dragged_as_one_step_and_its_regions_follow(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    to_marks(hand)
    name = "alare_left"
    masks = {n: np.array(m) for n, m in session.evaluated.raw.items()}
    x, y = at_mark(hand, name)
    hand.press(x, y)
    assert hand.stage.landmark == name
    hand.drag(x + 14, y - 6)
    hand.release()
    hand.settle()
    nx, ny = at_mark(hand, name)
    assert np.hypot(nx - x - 14, ny - y + 6) < 2.5
    assert name in session.project.landmarks
    changed = [n for n, m in session.evaluated.raw.items() if np.abs(m - masks[n]).max() > 0.02]
    assert changed, "no region followed the landmark"
    hand.key("Ctrl+Z")
    hand.settle()
    assert name not in session.project.landmarks
    np.testing.assert_allclose(at_mark(hand, name), (x, y), atol=0.01)
    assert all(np.array_equal(session.evaluated.raw[n], masks[n]) for n in masks)


def test_escape_puts_a_mark_back(open_demo: Hand) -> None:
    hand, project = open_demo, open_demo.session.project
    to_marks(hand)
    x, y = at_mark(hand, "cheilion_left")
    hand.press(x, y)
    hand.drag(x + 20, y)
    hand.key("Escape")
    hand.release()
    hand.settle()
    assert hand.session.history.committed is project and not hand.session.previewing


def test_a_chosen_landmark_is_placed_by_a_press(open_dome: Hand) -> None:
    hand = open_dome
    to_marks(hand)
    name = next(n.removeprefix("landmark ") for n in hand.seen if n.startswith("landmark "))
    hand.click_on(f"landmark {name}")
    hand.click(*hand.at_vertex(380))
    hand.settle()
    assert name in hand.session.project.landmarks, hand.told
    np.testing.assert_allclose(
        hand.session.head.landmarks.position(name, hand.session.head.neutral), hand.session.head.neutral[380], atol=2.0
    )


def test_a_moved_landmark_can_be_given_up(open_demo: Hand) -> None:
    hand = open_demo
    to_marks(hand)
    x, y = at_mark(hand, "cheilion_left")
    hand.press(x, y)
    hand.drag(x + 20, y)
    hand.release()
    hand.settle()
    assert "cheilion_left" in hand.session.project.landmarks
    hand.click_on("Reset to the head's file")
    hand.settle()
    assert "cheilion_left" not in hand.session.project.landmarks
    np.testing.assert_allclose(at_mark(hand, "cheilion_left"), (x, y), atol=0.01)


def test_guesses_come_first_and_are_gone_when_moved_or_accepted(hand: Hand, tmp_path: Path) -> None:
    write(awkward("three_shapes"), tmp_path / "library")
    hand.open(tmp_path / "library")
    guesses = hand.session.project.guesses
    assert guesses and any("orange" in words.text for words in hand.stage.words)
    hand.click_on("words marks")
    hand.settle()
    assert hand.stage.place == "marks"
    listed = [name.removeprefix("landmark ") for name in hand.seen if name.startswith("landmark ")]
    first = [name for name in listed if name in guesses]
    assert first and listed[: len(first)] == first
    hand.click_on(f"landmark {first[0]}")
    hand.click_on("Accept")
    hand.settle()
    assert hand.session.project.guesses == guesses - {first[0]}
    x, y = at_mark(hand, "cheek_left")
    hand.press(x, y)
    hand.drag(x + 8, y)
    hand.release()
    hand.settle()
    assert "cheek_left" in guesses and "cheek_left" not in hand.session.project.guesses
    hand.click_on("Accept all")
    hand.settle()
    assert not hand.session.project.guesses
