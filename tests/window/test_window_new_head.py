"""A new head in the window: a sculpt opened, marked, fitted, corrected under a brush, carried, and mixed on."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from composer.formats.mesh import Mesh
from composer.formats.obj import write
from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.head.landmarks import Landmarks, read_landmark_pairs, write_landmarks
from composer.head.places import SurfacePoint, resolve
from composer.viewer.session.opening import open_new_head
from tests.window.hand import Hand

PLACED = (
    "pronasale", "gnathion", "sellion", "subnasale", "exocanthion_left", "exocanthion_right", "endocanthion_left",
    "endocanthion_right", "cheilion_left", "cheilion_right", "tragion_left", "tragion_right", "gonion_left",
    "gonion_right", "vertex", "stomion",
)  # fmt: skip


def write_sculpt(folder: Path, head: Head) -> tuple[Path, np.ndarray]:
    """The head's own skin as triangles, grown and broadened, its vertices in another order; its file, and where the
    head's vertices belong."""
    grown = head.neutral * np.array([1.08, 1.03, 1.0]) + [4.0, -3.0, 10.0]
    triangles = head.polygons.triangles[head.skin[head.polygons.triangles].all(axis=1)]
    used = np.unique(triangles)
    order = np.random.default_rng(3).permutation(used)
    new = np.full(head.n_vertices, -1)
    new[order] = np.arange(len(order))
    polygons = Polygons(np.full(len(triangles), 3), new[triangles].reshape(-1), len(order))
    folder.mkdir(exist_ok=True)
    path = folder / "grown.obj"
    write(path, Mesh(polygons, grown[order], unit="mm"))
    marks = {}
    assert head.landmarks is not None
    for name in PLACED:
        place = head.landmarks.points[name]
        corners = place.triangle if isinstance(place, SurfacePoint) else (int(place),)
        a = int(new[corners[0]])
        marks[name] = a
    write_landmarks(folder / "grown.landmarks.toml", head.landmarks, Landmarks(marks))
    return path, grown


@pytest.fixture
def marked(open_demo: Hand, tmp_path: Path) -> tuple[Hand, np.ndarray]:
    """The demo with a grown copy of keeper open as a sculpt, sixteen landmarks read from beside it."""
    return marked_demo(open_demo, tmp_path)


def marked_demo(hand: Hand, tmp_path: Path) -> tuple[Hand, np.ndarray]:
    """An open demo with that sculpt, and where the head's vertices belong on it."""
    path, true = write_sculpt(tmp_path / "sculpts", hand.session.head)
    hand.key("J")
    hand.fill("sculpt path", str(path))
    hand.click_on("open sculpt")
    hand.until(lambda: hand.stage.new_head is not None, "the sculpt")
    hand.settle()
    return hand, true


def test_a_sculpt_opens_with_the_landmarks_beside_it_and_the_rest_is_guessed(marked: tuple) -> None:
    hand, true = marked
    new = hand.stage.new_head
    assert set(new.marks.places) == set(PLACED) and new.cage is not None
    hand.click_on("Guess the others")
    marks, head = new.marks, new.library
    assert set(marks.places) == set(new.names) and len(marks.guessed) == len(new.names) - len(PLACED)
    away = [np.linalg.norm(resolve(marks.places[n], new.sculpt.neutral) - head.landmarks.position(n, true))
            for n in marks.guessed]  # fmt: skip
    assert np.median(away) < 4.0
    hand.key("Ctrl+Z")
    assert set(new.marks.places) == set(PLACED)


def test_a_landmark_is_placed_where_it_is_pressed_and_the_next_is_chosen(marked: tuple) -> None:
    hand, true = marked
    new = hand.stage.new_head
    hand.stage.landmark = "glabella"
    place = new.library.landmarks.position("glabella", true)
    seen, _ = hand.stage.eye.project(place[None], *hand.stage.view_size)
    x, y = seen[0, 0] + hand.stage.view[0], seen[0, 1] + hand.stage.view[1]
    hand.click(float(x), float(y))
    put = resolve(new.marks.places["glabella"], new.sculpt.neutral)
    assert np.linalg.norm(put - place) < 2.5
    assert hand.stage.landmark != "glabella" and hand.stage.landmark not in new.marks.places


def test_a_curve_is_pressed_point_by_point_saved_and_fitted_through(marked: tuple, tmp_path: Path) -> None:
    hand, true = marked
    new = hand.stage.new_head
    assert "upper_lip" in new.lines and "mouth_inner" not in new.lines
    hand.stage.landmark = "upper_lip"
    line = new.library.landmarks.curve_positions("upper_lip", true)
    chosen = line[[-1, -5, -10, -15, 0]]  # from the other end than the library's
    for place in chosen:
        seen, _ = hand.stage.eye.project(place[None], *hand.stage.view_size)
        hand.click(float(seen[0, 0] + hand.stage.view[0]), float(seen[0, 1] + hand.stage.view[1]))
    assert hand.stage.landmark == "upper_lip"
    assert len(new.marks.curves["upper_lip"]) == 5 and new.marks.places.keys() == set(PLACED)
    through = new.landmarks().curves["upper_lip"]
    positions = np.array([resolve(place, new.sculpt.neutral) for place in through])
    assert np.linalg.norm(positions[0] - line[0]) < np.linalg.norm(positions[0] - line[-1])
    assert new.surface.closest(positions).distance.max() < 1e-6
    before = len(new.marks.curves["upper_lip"])
    hand.click_on("Remove landmark")
    assert len(new.marks.curves["upper_lip"]) == before - 1
    hand.key("Ctrl+Z")
    hand.click_on("Save landmarks")
    hand.frames(3)
    assert not new.unsaved
    again = open_new_head(new.library, tmp_path / "sculpts" / "grown.obj", lambda share, words: None)
    assert len(again.marks.curves["upper_lip"]) == before and not again.unsaved
    hand.settle()


def test_a_landmark_is_pinned_and_without_points_a_start_by_form_is_offered(marked: tuple) -> None:
    hand, _ = marked
    new, hand.stage.landmark = hand.stage.new_head, "stomion"
    hand.click_on("Pin landmark")
    assert new.marks.pinned == {"stomion"} and "Start without points" not in hand.seen
    hand.click_on("Pin landmark")
    assert not new.marks.pinned
    for name in PLACED:
        new.take_away(name)
    hand.frames(3)
    hand.click_on("Start without points")
    assert [job.name for job in hand.stage.work.jobs] == ["Fitting onto grown"]
    hand.stage.work.cancel_all()
    hand.until(lambda: not hand.stage.work.jobs, "the end of the job")
    assert new.fitted is None


def test_guesses_are_neither_fitted_through_nor_saved(marked: tuple) -> None:
    hand, _ = marked
    new = hand.stage.new_head
    hand.click_on("Guess the others")
    assert new.marks.guessed and set(new.landmarks().points) == set(PLACED) and not new.unsaved
    hand.click_on("Accept guesses")
    assert not new.marks.guessed and set(new.landmarks().points) > set(PLACED) and new.unsaved


def test_fit_relax_carry_and_mix_on(hand: Hand, own_small_demo: Path, tmp_path: Path) -> None:
    hand.open(own_small_demo)
    hand, true = marked_demo(hand, tmp_path)
    new, old = hand.stage.new_head, hand.session
    hand.click_on("finer levels")
    hand.click_on("Fit now")
    hand.until(lambda: hand.window.panels.fitting.fitted is not None, "the fit")
    hand.settle()
    report = hand.window.panels.fitting.fitted.report
    skin = new.library.skin & (hand.window.panels.fitting.fitted.free < 0.5)
    assert report.reversed_faces == report.folded_faces == 0
    assert np.median(np.linalg.norm(new.cage - true, axis=1)[skin]) < 1.5

    hand.click_on("Even out")
    cage = new.cage.copy()
    x, y = hand.stage.view[0] + 0.5 * hand.stage.view[2], hand.stage.view[1] + 0.3 * hand.stage.view[3]
    hand.press(x, y)
    hand.drag(x + 30, y)
    hand.release()
    hand.until(lambda: new.stage == "evened", "the evening")
    moved = np.abs(new.cage - cage).max(axis=1) > 0
    assert moved.any() and moved.mean() < 0.2

    hand.fill("carry folder", str(tmp_path / "grown"))
    hand.click_on("Carry and open")
    hand.until(lambda: hand.session is not old, "the new head")
    hand.settle()
    session = hand.session
    assert hand.stage.place == "mix" and session.path == tmp_path / "grown" / "document.toml"
    assert session.head.shape_names == old.head.shape_names
    assert [r.name for r in session.project.recipes] == [r.name for r in old.project.recipes]
    np.testing.assert_allclose(session.head.neutral[skin], new.cage[skin], atol=1e-3)
    assert np.abs(session.positions() - session.head.neutral).max() > 3.0


def test_another_document_forgets_the_sculpt(marked: tuple[Hand, np.ndarray], library: Path) -> None:
    hand, _ = marked
    hand.key("M")
    hand.open(library)
    hand.key("J")
    hand.settle()
    assert hand.stage.new_head is None and hand.stage.landmark == ""
    assert "Fit now" not in hand.seen and "open sculpt" in hand.seen


def place_another(hand: Hand) -> str:
    """One more landmark is placed; its name."""
    new = hand.stage.new_head
    name = next(each for each in new.names if each not in new.marks.places)
    new.place(name, new.marks.places["pronasale"])
    hand.frames(3)
    return name


def test_landmarks_that_are_not_saved_are_asked_about(marked: tuple[Hand, np.ndarray], tmp_path: Path) -> None:
    hand, _ = marked
    file = tmp_path / "sculpts" / "grown.landmarks.toml"
    before = file.read_bytes()
    assert not hand.stage.new_head.unsaved
    name = place_another(hand)
    hand.drop(tmp_path / "sculpts" / "grown.obj")
    assert hand.stage.dialogs.leave and set(hand.stage.dialogs.at_stake) == {"landmarks"}
    hand.click_on("leave stay")
    hand.frames(3)
    hand._tell("on_close")
    hand.frames(4)
    assert hand.window.context is not None and hand.stage.dialogs.leave
    assert file.read_bytes() == before
    hand.click_on("leave save")
    hand.until(lambda: hand.window.context is None, "the window closes")
    assert name in read_landmark_pairs(file)[1].points


def test_landmarks_are_kept_beside_the_sculpt_and_found_after_a_crash(
    marked: tuple[Hand, np.ndarray], tmp_path: Path
) -> None:
    hand, _ = marked
    file = tmp_path / "sculpts" / "grown.landmarks.toml"
    os.utime(file, (1000, 1000))
    before = file.read_bytes()
    name = place_another(hand)
    hand.stage.keeping_marks.every = 0.0
    hand.frames(2)
    hand.settle()
    place = hand.stage.keeping_marks.place
    assert place.is_file() and file.read_bytes() == before
    hand.close()  # as if it had been killed

    demo = hand.session.head
    again = open_new_head(demo, tmp_path / "sculpts" / "grown.obj", lambda share, words: None)
    assert name in again.marks.places and again.unsaved and "copy" in again.notes[-1]
    again.undo()
    assert name not in again.marks.places and len(again.marks.places) == len(PLACED)


def test_saved_landmarks_leave_no_copy(marked: tuple[Hand, np.ndarray]) -> None:
    hand, _ = marked
    place_another(hand)
    hand.stage.keeping_marks.every = 0.0
    hand.frames(2)
    hand.settle()
    assert hand.stage.keeping_marks.place.is_file()
    hand.click_on("Save landmarks")
    hand.frames(3)
    assert not hand.stage.keeping_marks.place.exists() and not hand.stage.new_head.unsaved
    hand._tell("on_close")
    hand.frames(4)
    assert hand.window.context is None


def test_a_fit_that_is_not_carried_is_asked_about(marked: tuple[Hand, np.ndarray]) -> None:
    hand, _ = marked
    new = hand.stage.new_head
    new.stand(new.cage, "fitted")
    hand._tell("on_close")
    hand.frames(4)
    assert set(hand.stage.dialogs.at_stake) == {"fit"} and "leave save" not in hand.seen
    hand.click_on("leave without")
    hand.until(lambda: hand.window.context is None, "the window closes")
