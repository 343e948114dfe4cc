"""The fit corrected by hand in the window: loops drawn, curves refitted to, zones painted, stages looked at."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from composer.fitting.chain import FittedHead
from composer.fitting.not_followed import Why
from composer.head.fit_zones import FitZones
from composer.head.landmark_file import read_zones
from composer.head.places import resolve
from composer.head.symmetry import pairs_of
from composer.viewer.new_head.fit_work import fit_new
from composer.viewer.session.opening import open_new_head
from tests.window.hand import Hand
from tests.window.test_window_new_head import write_sculpt

FITS: list[FittedHead] = []
"""The fit that all tests begin with, made once: that the button makes it is another file's test."""


@pytest.fixture
def fitted(open_demo: Hand, tmp_path: Path) -> tuple[Hand, np.ndarray]:
    """The demo fitted onto a grown copy of keeper; the hand, and where its vertices truly belong."""
    hand = open_demo
    path, true = write_sculpt(tmp_path / "sculpts", hand.session.head)
    hand.key("J")
    hand.fill("sculpt path", str(path))
    hand.click_on("open sculpt")
    hand.until(lambda: hand.stage.new_head is not None, "the sculpt")
    hand.settle()
    hand.click_on("finer levels")
    new = hand.stage.new_head
    if not FITS:
        FITS.append(fit_new(new, new.step, 0, False, lambda share, words: None))
    new.stand(FITS[0].head.neutral, "fitted", asked=new.step, fitted=FITS[0])
    hand.stage.shown_of_new = "cage"
    hand.settle()
    return hand, true


def seen_at(hand: Hand, point: np.ndarray) -> tuple[float, float]:
    seen, _ = hand.stage.eye.project(np.asarray(point, dtype=float)[None], *hand.stage.view_size)
    return float(seen[0, 0]) + hand.stage.view[0], float(seen[0, 1]) + hand.stage.view[1]


def drag(hand: Hand, vertex: int, dx: float, dy: float) -> None:
    x, y = seen_at(hand, hand.stage.new_head.cage[vertex])
    hand.press(x, y)
    hand.drag(x + dx, y + dy)


def test_a_vertex_is_drawn_along_the_sculpt_and_taken_back_by_one_undo(fitted: tuple) -> None:
    hand, _ = fitted
    new = hand.stage.new_head
    before = new.cage
    on_it = new.fitted.sculpt.surface.closest(before).distance < 1e-6
    vertex = new.library.landmarks.vertex("cheek_left", new.library.neutral)
    hand.click_on("Vertex")
    drag(hand, vertex, 14, 6)
    assert new.cage is before and not np.array_equal(new.shown_cage, before), "it is shown, and no step yet"
    hand.release()
    hand.settle()
    moved = np.abs(new.cage - before).max(axis=1) > 0
    assert new.stage == "by hand" and moved[vertex] and 3 < moved.sum() < 0.2 * len(moved)
    assert new.fitted.sculpt.surface.closest(new.cage[on_it & moved]).distance.max() < 1e-6
    goal = seen_at(hand, new.cage[vertex])
    start = seen_at(hand, before[vertex])
    assert np.hypot(goal[0] - start[0] - 14, goal[1] - start[1] - 6) < 3.0, "it lies under the pointer"
    hand.key("Ctrl+Z")
    assert np.array_equal(new.cage, before) and new.stage == "fitted"
    hand.key("Ctrl+Shift+Z")
    assert new.stage == "by hand"


def test_escape_takes_a_drag_back_and_the_wheel_widens_it(fitted: tuple) -> None:
    hand, _ = fitted
    new = hand.stage.new_head
    before = new.cage
    hand.click_on("Vertex")
    vertex = new.library.landmarks.vertex("cheek_left", new.library.neutral)
    drag(hand, vertex, 6, 4)
    few = (np.abs(new.shown_cage - before).max(axis=1) > 0).sum()
    radius = hand.window.panels.fitting.radius_mm
    hand.wheel(4)
    many = (np.abs(new.shown_cage - before).max(axis=1) > 0).sum()
    assert hand.window.panels.fitting.radius_mm > radius and many > few
    hand.key("Escape")
    hand.frames(3)
    assert new.cage is before and np.array_equal(new.shown_cage, before) and new.stage == "fitted"


def test_both_sides_of_a_loop_move_alike(fitted: tuple) -> None:
    hand, _ = fitted
    new = hand.stage.new_head
    before = new.cage
    hand.click_on("Loop")
    hand.click_on("both sides of the fit")
    vertex = new.library.landmarks.vertex("cheek_left", new.library.neutral)
    drag(hand, vertex, 5, 8)
    assert hand.stage.piece is None or len(hand.stage.piece[0]) > 1
    hand.release()
    hand.settle()
    way = new.cage - before
    partner = pairs_of(new.library)
    assert partner is not None
    moved = np.flatnonzero((np.abs(way).max(axis=1) > 0.5) & new.library.skin)
    assert len(moved) and (new.library.neutral[moved, 0] > 0).any() and (new.library.neutral[moved, 0] < 0).any()
    mirrored = way[partner[moved]] * [-1.0, 1.0, 1.0]
    assert np.abs(way[moved] - mirrored).max() < 0.35 * np.abs(way).max()
    assert new.step.pins, "the next whole fit remembers what was drawn"


def test_a_curve_is_drawn_after_the_fit_and_only_what_is_near_is_refitted(fitted: tuple) -> None:
    hand, true = fitted
    new = hand.stage.new_head
    before = new.cage
    assert "Refit near" in hand.seen and not new.asked_since()
    hand.click_on("show sculpt") if "show sculpt" in hand.seen else hand.click_on("Sculpt")
    hand.stage.landmark = "upper_lip"
    line = new.library.landmarks.curve_positions("upper_lip", true)
    for place in line[[0, 5, 10, 15, -1]]:
        hand.click(*seen_at(hand, place))
    assert new.asked_since() == ["upper_lip"]
    hand.click_on("Refit near")
    hand.until(lambda: new.stage == "refitted", "the refit")
    hand.settle()
    ids = np.asarray(new.library.landmarks.curves["upper_lip"])
    moved = np.abs(new.cage - before).max(axis=1) > 0
    assert moved[ids].any() and moved.mean() < 0.4 and not new.asked_since()
    drawn = np.array([resolve(place, new.sculpt.neutral) for place in new.landmarks().curves["upper_lip"]])
    away = [np.linalg.norm(drawn - point, axis=1).min() for point in new.cage[ids]]
    assert np.mean(away) < 1.0
    hand.key("Ctrl+Z")
    assert np.array_equal(new.cage, before) and new.asked_since() == ["upper_lip"]


def test_a_painted_zone_keeps_the_library_s_form_is_saved_and_goes_into_the_next_fit(
    fitted: tuple, tmp_path: Path
) -> None:
    hand, _ = fitted
    new = hand.stage.new_head
    before = new.cage
    hand.click_on("Keep form")
    vertex = new.library.landmarks.vertex("pogonion", new.library.neutral)
    drag(hand, vertex, 12, 0)
    assert hand.stage.painted_zone is not None
    hand.release()
    hand.until(lambda: new.zones.form is not None, "the form")
    hand.settle()
    zone = new.zones.form
    assert zone[vertex] > 0.5 and np.array_equal(new.cage[zone == 0], before[zone == 0])
    hand.click_on("Save landmarks")
    file = tmp_path / "sculpts" / "grown.landmarks.toml"
    assert read_zones(file, new.library.polygons).same_as(new.zones) and not new.unsaved
    again = open_new_head(new.library, tmp_path / "sculpts" / "grown.obj", lambda share, words: None)
    assert again.zones.same_as(new.zones) and not again.unsaved
    hand.click_on("Fit now")
    hand.until(lambda: new.stage == "fitted", "the second fit")
    assert (new.fitted.free[zone > 0.6] > 0.5).all() and new.zones.form is zone
    hand.key("Ctrl+Z")
    hand.key("Ctrl+Z")
    assert new.zones.same_as(FitZones()) and np.array_equal(new.cage, before)


def test_what_is_held_does_not_move(fitted: tuple) -> None:
    hand, _ = fitted
    new = hand.stage.new_head
    hand.click_on("Hold")
    vertex = new.library.landmarks.vertex("cheek_left", new.library.neutral)
    drag(hand, vertex, 2, 0)
    hand.release()
    held = new.zones.still > 0.5
    before = new.cage
    assert held[vertex]
    hand.click_on("Vertex")
    drag(hand, int(np.flatnonzero(held)[0]), 10, 0)
    hand.release()
    hand.settle()
    assert np.array_equal(new.cage[held], before[held])


def test_every_stage_of_the_fit_can_be_looked_at(fitted: tuple) -> None:
    from composer.viewer.panels.new_head.does_it_sit import look_name

    hand, _ = fitted
    new = hand.stage.new_head
    stood = new.cage
    for look in new.looks:
        hand.click_on("stages")
        hand.click_on(look_name(look.words))
        assert new.looked_at == look.words and np.array_equal(new.shown_cage, look.positions)
        assert new.cage is stood
    hand.click_on("stages")
    hand.click_on("Landmarks alone")
    hand.click_on("distance heat")
    hand.frames(3)
    early = hand.window.drawing.shown.legend.high
    hand.click_on("stages")
    hand.click_on("Now")
    hand.frames(3)
    assert new.shown_cage is stood and hand.window.drawing.shown.legend.high <= early  # round numbers


def test_the_loupe_shows_the_sculpt_under_the_pointer(fitted: tuple) -> None:
    hand, true = fitted
    new = hand.stage.new_head
    hand.click_on("Sculpt")
    left, top, right, bottom = (round(v) for v in hand.seen["loupe sculpt"])
    pictures = []
    for name in ("pronasale", "cheilion_left"):
        hand.move(*seen_at(hand, new.library.landmarks.position(name, true)))
        hand.frames(3)
        pictures.append(hand.picture()[top:bottom, left:right].astype(int))
    assert np.abs(pictures[0] - pictures[1]).mean() > 3.0


def test_landmarks_are_searched_by_either_name(fitted: tuple) -> None:
    hand, _ = fitted
    for words, there, gone in (("eye corner", "exocanthion_left", "pronasale"), ("pronas", "pronasale", "gnathion")):
        hand.fill("search landmarks", words)
        assert f"new landmark {there}" in hand.seen and f"new landmark {gone}" not in hand.seen


def test_each_surface_has_a_colour_of_its_own_and_a_legend_says_which(fitted: tuple) -> None:
    hand, _ = fitted
    hand.click_on("Both")
    hand.frames(3)
    new, shown = hand.stage.new_head, hand.window.drawing.shown
    words = [words for _, words in shown.swatches]
    assert words == ["the sculpt", "the library on it"]
    colours = {tuple(row) for row in shown.cover[[0, new.n_sculpt]].tolist()}
    assert len(colours) == 2 and all(row[3] > 0 for row in colours)


def test_what_the_head_wears_has_a_colour_of_its_own(fitted: tuple) -> None:
    """A cap, planted as the fit tells one (`Why.WORN`) above the brow: it is seen on the library's vertices alone, in a
    colour that no painted zone has, and the legend names it; a zone that is painted over it covers it."""
    hand, _ = fitted
    new = hand.stage.new_head
    whole, scalp = new.step.fitted, new.cage[:, 1] > np.quantile(new.cage[:, 1], 0.85)
    why = np.where(scalp, Why.WORN, Why.FOLLOWS).astype(np.int8)
    capped = replace(whole, levels=(replace(whole.levels[0], why=why), *whole.levels[1:]))
    new.stand(new.cage, "fitted", asked=new.step, fitted=capped)
    hand.click_on("Both")
    hand.frames(3)
    shown = hand.window.drawing.shown
    assert "under hair, a hat or a collar" in [words for _, words in shown.swatches]
    on_library = shown.cover[new.n_sculpt :]
    seen = {tuple(row) for row in on_library[scalp].tolist()}
    assert len(seen) == 1 and not seen & {tuple(row) for row in on_library[~scalp].tolist()}
    new.paint(FitZones(form=scalp.astype(np.float64)))
    hand.frames(3)
    over = {tuple(row) for row in hand.window.drawing.shown.cover[new.n_sculpt :][scalp].tolist()}
    assert len(over) == 1 and over != seen
    hand.click_on("Sculpt")
    hand.frames(3)
    assert "under hair, a hat or a collar" not in [words for _, words in hand.window.drawing.shown.swatches]


def test_a_curve_is_drawn_in_one_go_and_taken_back_by_one_undo(fitted: tuple) -> None:
    hand, true = fitted
    new = hand.stage.new_head
    hand.click_on("Sculpt")
    hand.stage.landmark = "upper_lip"
    line = new.library.landmarks.curve_positions("upper_lip", true)
    hand.press(*seen_at(hand, line[0]))
    for place in line[1:]:
        hand.drag(*seen_at(hand, place), steps=1)
    assert len(hand.stage.moved_line) > 3 and not new.marks.curves
    hand.release()
    drawn = new.marks.curves["upper_lip"]
    assert len(drawn) > 3 and hand.stage.moved_line == ()
    hand.key("Ctrl+Z")
    assert not new.marks.curves
