"""Reference pictures behind the head and over it, as a person lays, places and hides them."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from composer.viewer.render.look import Backdrop
from tests.window.hand import Hand

RED = (200, 30, 40)


def shot(hand: Hand, name: str) -> None:
    folder = os.environ.get("MOUE_SHOTS")
    if folder:
        hand.shot(f"{folder}/{name}.png")


@pytest.fixture
def laid(open_dome: Hand) -> Hand:
    """A dome, looked at from the front, with a red picture dropped on the window."""
    hand = open_dome
    hand.click_on("view front")
    picture = hand.session.project.path.parent / "red.png"
    Image.fromarray(np.full((60, 66, 3), RED, np.uint8)).save(picture)
    hand.drop(picture)
    hand.settle()
    assert [one.name for one in hand.session.project.references] == ["red"], hand.told
    return hand


def menu(hand: Hand) -> None:
    hand.click_on("Views")
    hand.click_on("Reference pictures")
    hand.frames(3)


def redness(hand: Hand, x: float, y: float) -> float:
    """How much redder than blue a place of the view is, x and y in shares of it from its left upper corner."""
    seen = hand.view_picture().astype(float)
    at = seen[int(y * seen.shape[0]), int(x * seen.shape[1])]
    return float(at[0] - at[2])


def test_a_backdrop_lies_where_it_says() -> None:
    """By hand: a square picture half as high as a view twice as wide as high, a quarter of its height up."""
    square = Backdrop(np.zeros((8, 8, 4), np.uint8), (0.0, 0.25), 0.5)
    np.testing.assert_allclose(square.corners((400, 200)), [-0.25, 0.0, 0.25, 1.0])
    aside = Backdrop(np.zeros((8, 8, 4), np.uint8), (1.0, 0.0), 1.0)
    np.testing.assert_allclose(aside.corners((400, 200)), [0.5, -1.0, 1.5, 1.0])


def test_a_picture_lies_behind_the_head_over_it_and_out_of_sight(laid: Hand) -> None:
    hand = laid
    hand.move(5.0, 5.0)
    left, _, width, height = hand.stage.view
    beside = 0.5 - 0.52 * height / width  # within the picture, beside the head
    assert redness(hand, beside, 0.5) > 60, "behind the head the ground is red"
    assert redness(hand, 0.5, 0.5) < 60, "the head is before it"
    menu(hand)
    hand.click_on("Over it")
    hand.settle()
    shot(hand, "references_menu")
    assert hand.session.project.references[0].over and redness(hand, 0.5, 0.6) > 60
    hand.click_on("reference shown")
    hand.settle()
    assert redness(hand, beside, 0.5) < 40 and hand.session.project.references[0].hidden
    hand.key("Escape")
    hand.key("Ctrl+Z")
    hand.key("Ctrl+Z")
    assert not hand.session.project.references[0].over


def test_it_is_placed_by_hand_one_step_a_drag(laid: Hand) -> None:
    hand = laid
    menu(hand)
    hand.click_on("Place by hand")
    left, top, width, height = hand.stage.view
    x, y = left + width / 2, top + height / 2
    hand.press(x, y)
    hand.drag(x + 0.2 * height, y - 0.1 * height)
    shot(hand, "references_placing")
    hand.release()
    one = hand.session.project.references[0]
    np.testing.assert_allclose(one.middle, (0.2, 0.1), atol=0.01)
    hand.key("Ctrl+Z")
    assert hand.session.project.references[0].middle == (0.0, 0.0)
    hand.press(x - 0.55 * height, y + 0.5 * height - 15)  # near its lower left corner
    hand.drag(x - 0.275 * height, y + 0.25 * height - 7.5)
    hand.release()
    assert abs(hand.session.project.references[0].height - 0.5) < 0.03
    hand.press(x, y)
    hand.drag(x + 50, y)
    hand.key("Escape")
    hand.release()
    assert hand.session.project.references[0].middle == (0.0, 0.0), "Escape takes the drag back"
    hand.key("Escape")
    assert not hand.stage.references.placing


def test_a_picture_that_is_gone_or_outside_is_told_in_one_line(
    laid: Hand, tmp_path_factory: pytest.TempPathFactory
) -> None:
    hand = laid
    outside = tmp_path_factory.mktemp("outside") / "far.png"
    Image.new("RGB", (4, 4)).save(outside)
    hand.drop(outside)
    assert any("outside its folder" in line for line in hand.wrong), hand.told
    file = hand.session.project.path.parent / "red.png"
    hand.window.stage.references = type(hand.stage.references)()  # as after opening the document again
    Path(file).unlink()
    hand.until(lambda: any("is not there" in line for line in hand.wrong), "the fault")
    menu(hand)
    assert "fault of reference" in hand.seen
    hand.click_on("Take reference away")
    assert not hand.session.project.references
