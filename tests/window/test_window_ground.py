"""Painting on a neighbour's ground: what the pointer says, what is told, and the press that takes it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from composer.edits.regions import set_locked
from tests.window.hand import Hand


@pytest.fixture
def brush(open_demo: Hand) -> Hand:
    """The brush over the demo, the left cheek chosen."""
    hand = open_demo
    hand.key("P")
    hand.until(lambda: hand.window.panels.painting.ready_for(hand.session), "the brush")
    hand.session.region = "cheek_left"
    painting = hand.window.panels.painting
    painting.radius_mm, painting.strength, painting.takes, painting.kind = 8.0, 1.0, False, "paint"
    hand.frames(2)
    return hand


def dab(hand: Hand, region: str) -> int:
    """One dab in the middle of a region; the vertex there."""
    vertex = hand.session.centre_of(region)
    hand.press(*hand.at_vertex(vertex))
    hand.frames(2)
    assert hand.stage.pointed == "painting cheek_left"
    hand.release()
    return vertex


def test_on_a_neighbours_ground_half_is_told_and_one_press_takes_the_rest(brush: Hand) -> None:
    hand, session = brush, brush.session
    hand.move(*hand.in_region("cheekbone_left"))
    hand.frames(2)
    assert hand.stage.pointed == "cheek_left, shared with cheekbone_left"
    at = dab(hand, "cheekbone_left")
    assert 0.3 < session.evaluated.effective["cheek_left"][at] < 0.7
    hand.click_on("words: Take it from the others")
    assert session.evaluated.effective["cheek_left"][at] > 0.95
    assert session.evaluated.effective["cheekbone_left"][at] < 0.05
    hand.key("Ctrl+Z")
    assert 0.3 < session.evaluated.effective["cheek_left"][at] < 0.7


def test_a_brush_that_takes_needs_no_press_and_is_one_step(brush: Hand) -> None:
    hand, session = brush, brush.session
    before = session.history.committed
    hand.click_on("take from others")
    at = dab(hand, "cheekbone_left")
    assert session.evaluated.effective["cheek_left"][at] > 0.95
    assert "words: Take it from the others" not in hand.seen
    hand.key("Ctrl+Z")
    assert session.history.committed is before


def test_locks_are_told_at_the_pointer_and_hold(brush: Hand) -> None:
    hand, session = brush, brush.session
    hand.stage.do(lambda p: set_locked(p, "cheekbone_left", True))
    hand.move(*hand.in_region("cheekbone_left"))
    hand.frames(2)
    assert "cheekbone_left is locked and keeps this ground" in hand.stage.pointed
    hand.stage.do(lambda p: set_locked(p, "cheek_left", True))
    before = session.history.committed
    hand.frames(2)
    assert hand.stage.pointed.startswith("cheek_left is locked")
    hand.click(*hand.in_region("cheekbone_left"))
    assert session.history.committed is before and any("locked" in words for words in hand.wrong)


def test_a_picture_comes_in_as_a_mask_and_masks_are_copied_and_smoothed(brush: Hand, tmp_path: Path) -> None:
    hand, session = brush, brush.session
    grey = np.zeros((64, 64), dtype=np.uint8)
    grey[:, 32:] = 255
    Image.fromarray(grey).save(tmp_path / "half face.png")
    hand.drop(tmp_path / "half face.png")
    assert session.region == "half face" and not hand.wrong
    mask = hand.mask("half face")
    uv, skin = session.head.uv, session.head.skin
    low, high = np.ones(session.head.n_vertices), np.zeros(session.head.n_vertices)
    np.minimum.at(low, session.head.polygons.indices, uv.uv[uv.indices, 0])
    np.maximum.at(high, session.head.polygons.indices, uv.uv[uv.indices, 0])
    assert mask[skin & (low > 0.6)].min() == 1.0 and mask[skin & (high < 0.4)].max() == 0.0
    hand.click_on("whole smooth")
    smooth = hand.mask("half face")
    assert 0.0 < np.abs(smooth - mask).max() < 1.0
    hand.click_on("region half face", 4)
    hand.click_on("Copy its mask to")
    hand.click_on("copy mask to chin_left")
    np.testing.assert_array_equal(hand.mask("chin_left"), smooth)
    for _ in range(3):
        hand.key("Ctrl+Z")
    assert "half face" not in session.region_names
