"""Pictures of the new head's room: `tests.window.screens` makes them with all others."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np

from composer.viewer.new_head.fit_work import fit_new
from tests.window.hand import Hand
from tests.window.test_window_new_head import write_sculpt


def _opened(hand: Hand) -> np.ndarray:
    """A sculpt opened in the room; where the library's vertices truly belong on it."""
    path, true = write_sculpt(Path(tempfile.mkdtemp()), hand.session.head)
    hand.key("J")
    hand.fill("sculpt path", str(path))
    hand.click_on("open sculpt")
    hand.until(lambda: hand.stage.new_head is not None)
    hand.settle()
    hand.stage.words.clear()
    return true


def _fitted(hand: Hand) -> np.ndarray:
    true = _opened(hand)
    new = hand.stage.new_head
    fitted = fit_new(new, new.step, 0, False, lambda share, words: None)
    new.stand(fitted.head.neutral, "fitted", asked=new.step, fitted=fitted)
    hand.stage.shown_of_new = "cage"
    hand.settle()
    return true


def _at(hand: Hand, point: np.ndarray) -> tuple[float, float]:
    seen, _ = hand.stage.eye.project(np.asarray(point, dtype=float)[None], *hand.stage.view_size)
    return float(seen[0, 0]) + hand.stage.view[0], float(seen[0, 1]) + hand.stage.view[1]


def new_where_is_it(hand: Hand) -> None:
    true = _opened(hand)
    hand.move(*_at(hand, hand.stage.new_head.library.landmarks.position("alare_left", true)))
    hand.settle()


def new_searched(hand: Hand) -> None:
    _opened(hand)
    hand.fill("search landmarks", "eye corner")


def new_does_it_sit(hand: Hand) -> None:
    _fitted(hand)


def new_without_points(hand: Hand) -> None:
    path, _ = write_sculpt(Path(tempfile.mkdtemp()), hand.session.head)
    path.with_name("grown.landmarks.toml").unlink()
    hand.key("J")
    hand.fill("sculpt path", str(path))
    hand.click_on("open sculpt")
    hand.until(lambda: hand.stage.new_head is not None)
    hand.click_on("finer levels")
    hand.click_on("Start without points")
    hand.until(lambda: hand.stage.new_head.fitted is not None, "the fit")
    hand.settle()


def new_both_surfaces(hand: Hand) -> None:
    _fitted(hand)
    hand.click_on("Both")
    hand.move(*_at(hand, hand.stage.new_head.cage[0]))
    hand.settle()


def new_stage_with_heat(hand: Hand) -> None:
    _fitted(hand)
    hand.click_on("stages")
    hand.click_on("Landmarks alone")
    hand.click_on("distance heat")
    hand.settle()


def new_loop_in_the_hand(hand: Hand) -> None:
    _fitted(hand)
    new = hand.stage.new_head
    hand.click_on("Loop")
    hand.click_on("both sides of the fit")
    x, y = _at(hand, new.cage[new.library.landmarks.vertex("cheek_left", new.library.neutral)])
    hand.press(x, y)
    hand.drag(x + 16, y + 10)


def new_zone_painted(hand: Hand) -> None:
    _fitted(hand)
    new = hand.stage.new_head
    hand.click_on("Keep form")
    x, y = _at(hand, new.cage[new.library.landmarks.vertex("trichion", new.library.neutral)])
    hand.press(x - 60, y - 20)
    hand.drag(x + 60, y - 20)
    hand.release()
    hand.until(lambda: new.zones.form is not None)
    hand.settle()


def new_curve_drawn(hand: Hand) -> None:
    true = _fitted(hand)
    new = hand.stage.new_head
    hand.click_on("Sculpt")
    hand.stage.landmark = "upper_lip"
    line = new.library.landmarks.curve_positions("upper_lip", true)
    for place in line[[0, 5, 10, 15, -1]]:
        hand.click(*_at(hand, place))
    hand.settle()


NEW_HEAD_STATES = {
    call.__name__: call
    for call in (
        new_where_is_it, new_searched, new_does_it_sit, new_without_points, new_both_surfaces, new_stage_with_heat,
        new_loop_in_the_hand, new_zone_painted, new_curve_drawn,
    )
}  # fmt: skip
