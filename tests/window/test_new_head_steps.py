"""A new head without a window: every deed is one step, and what is left is told in the order in which it helps."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.errors import MoueError
from composer.fitting.chain import FittedHead
from composer.fitting.fit_words import fit_lines
from composer.head.fit_zones import FitZones
from composer.head.head import Head
from composer.head.landmark_file import read_landmark_pairs
from composer.head.landmarks import Landmarks
from composer.viewer.new_head import steps as steps_module
from composer.viewer.new_head.fit_work import carry_new, fit_new, refit_new
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.new_head.steps import Step, Steps
from composer.viewer.session.whats_left import whats_left
from tests.composer.fitting.start.test_start import face, other

NAMES = ("pronasale", "gnathion", "exocanthion_left", "exocanthion_right", "vertex", "tragion_left", "tragion_right",
         "cheilion_left", "cheilion_right")  # fmt: skip
GROWN = np.array([0.8, 1.25, 1.0])
"""What the sculpt is of the library: no ball, which a fit takes for an eye."""


def quiet(share: float, words: str) -> None:
    return


@pytest.fixture
def new() -> NewHead:
    cage, at = cube_sphere(9)
    fine, places = cube_sphere(31)
    spread = np.linspace(0, len(at) - 1, len(NAMES)).astype(int)
    marks = Landmarks(dict(zip(NAMES, spread.tolist(), strict=True)))
    library = Head("library", cage, at, landmarks=marks)
    sculpt = Head("sculpt", fine, places * GROWN)
    return NewHead(library, sculpt)


def placed(new: NewHead, count: int) -> None:
    for name in new.names[:count]:
        point = new.library.landmarks.position(name, new.library.neutral) * GROWN  # type: ignore[union-attr]
        new.place(name, new.on_sculpt(point[None])[0])


def fitted(new: NewHead) -> FittedHead:
    step = new.step
    made = fit_new(new, step, 0, False, quiet)
    new.stand(made.head.neutral, "fitted", asked=step, fitted=made)
    return made


def deeds(new: NewHead) -> list[str]:
    return [item.deed for item in whats_left(new)]


def test_what_is_left_goes_from_landmarks_to_the_fit_to_nothing(new: NewHead) -> None:
    assert deeds(new) == ["ask"] and new.next_asked() == new.names[0]
    placed(new, 3)
    assert deeds(new) == ["ask", "fit", "save"] and new.next_asked() == new.names[3]
    new.guess()
    assert "guesses" in deeds(new) and new.next_asked() == ""
    new.confirm()
    assert deeds(new) == ["fit", "save"]
    fitted(new)
    assert "fit" not in deeds(new) and "refit" not in deeds(new)
    new.take_away(NAMES[0])
    assert "fit" in deeds(new), "what was taken away needs a whole fit"
    new.undo()
    moved = new.on_sculpt(new.cage[[40]])[0]  # type: ignore[index]
    new.place(NAMES[0], moved)
    assert "refit" in deeds(new) and new.asked_since() == [NAMES[0]]


def test_a_refit_brings_it_through_what_was_asked_and_then_nothing_is_asked(new: NewHead) -> None:
    placed(new, 8)
    fitted(new)
    name = new.names[8]
    place = new.on_sculpt(new.library.landmarks.position(name, new.cage)[None] + 3.0)[0]  # type: ignore[union-attr]
    new.place(name, place)
    before = new.cage
    result = refit_new(new, new.step, new.asked_since(), quiet)
    new.stand(result.positions, "refitted", asked=new.step)
    assert new.asked_since() == [] and not np.array_equal(new.cage, before)
    new.undo()
    assert np.array_equal(new.cage, before) and new.asked_since() == [name]


def test_every_deed_is_one_step_back_and_forward(new: NewHead) -> None:
    placed(new, 4)
    fitted(new)
    stood = new.cage
    zones = FitZones().with_("still", np.ones(new.library.n_vertices))
    new.paint(zones)
    new.stand(stood + 1.0, "by hand", pins={3: new.on_sculpt(stood[[3]])[0]})
    assert new.step.pins and new.zones is zones
    new.undo()
    assert not new.step.pins and np.array_equal(new.cage, stood) and new.zones is zones
    new.undo()
    assert not new.zones and new.stage == "fitted"
    new.undo()
    assert new.stage == "carried" and new.fitted is None
    for _ in range(3):
        new.redo()
    assert np.array_equal(new.cage, stood + 1.0) and not new.can_redo
    assert np.array_equal(new.positions()[new.n_sculpt :], (stood + 1.0).astype(np.float32))


def test_the_oldest_steps_go_where_they_take_too_much(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(steps_module, "MOST_BYTES", 4 * 240)
    kept = Steps()
    for number in range(9):
        kept.add(Step(cage=np.full((10, 3), float(number))))
    assert kept.now.cage is not None and kept.now.cage[0, 0] == 8.0
    count = 0
    while kept.can_undo:
        kept.go(-1)
        count += 1
    assert count == 3


def test_vertices_moved_by_hand_are_passed_through_by_the_next_whole_fit(new: NewHead) -> None:
    placed(new, 9)
    made = fitted(new)
    vertex = 200
    place = new.on_sculpt(made.head.neutral[[vertex]] + [0.0, 6.0, 0.0])[0]
    new.stand(made.head.neutral, "by hand", pins={vertex: place})
    again = fit_new(new, new.step, 0, False, quiet)
    goal = np.asarray(place.bary) @ new.sculpt.neutral[list(place.triangle)]
    before = np.linalg.norm(made.head.neutral[vertex] - goal)
    assert np.linalg.norm(again.head.neutral[vertex] - goal) < 0.5 * before
    assert again.head.landmarks is new.library.landmarks, "no landmark is left over of it"


def test_a_corrected_cage_goes_over_as_it_stands_with_finer_levels_from_there(new: NewHead) -> None:
    from composer.viewer.new_head.fit_work import _corrected

    placed(new, 9)
    step = new.step
    made = fit_new(new, step, 1, False, quiet)
    cage = made.head.neutral + np.array([0.0, 0.0, 2.0]) * (np.arange(new.library.n_vertices) % 50 == 0)[:, None]
    new.stand(cage, "by hand", asked=step, fitted=made)
    corrected = _corrected(new, new.step, made, new.cage)  # type: ignore[arg-type]
    assert np.array_equal(corrected.levels[0].positions, cage) and [lv.k for lv in corrected.levels] == [0, 1]
    assert not np.array_equal(corrected.levels[1].positions, made.levels[1].positions)


def test_nothing_is_carried_before_there_is_a_fit(new: NewHead, tmp_path: Path) -> None:
    with pytest.raises(MoueError, match="no fit"):
        carry_new(None, new, new.step, tmp_path / "out", quiet)  # type: ignore[arg-type]


def test_a_pinned_landmark_holds_and_its_file_remembers(new: NewHead, tmp_path: Path) -> None:
    placed(new, 9)
    name, file = NAMES[4], tmp_path / "marks.toml"
    goal = new.library.landmarks.position(name, new.library.neutral) * GROWN + [1.5, 0.5, 0.0]  # type: ignore[union-attr]
    new.place(name, new.on_sculpt(goal[None])[0])
    away = {False: fitted(new).report.landmarks[name]}
    new.pin(name, True)
    assert new.asked_since() == [name] and new.unsaved
    new.write_landmarks(file)
    new.undo()
    assert not new.marks.pinned
    new.read_landmarks(read_landmark_pairs(file)[1])
    assert new.marks.pinned == {name} and not new.unsaved
    report = fitted(new).report
    away[True] = report.landmarks[name]
    assert away[True] < 0.001 < 0.05 < away[False], away
    assert report.pinned == (name,) and any(line.startswith("held where") for line in fit_lines(report))
    assert report.left_out.keys() == new.placed.keys()
    assert any(line.startswith("landmarks least like") for line in fit_lines(report))
    new.take_away(name)
    assert not new.marks.pinned and not new.landmarks().pinned


def test_a_start_without_points_is_told_with_its_doubt_until_points_are_placed(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, few in (("by_form.POINTS", (150, 300)), ("by_form.SIZES", (1.0,)), ("found.PLACES", 1)):
        monkeypatch.setattr(f"composer.fitting.start.{name}", few)  # it saves the test's time
    (cage, own), (fine, ball) = cube_sphere(8), cube_sphere(13, seed=3)
    library = Head("library", cage, face(own), landmarks=Landmarks({name: 20 * i for i, name in enumerate(NAMES)}))
    new = NewHead(library, Head("sculpt", fine, other(face(ball))))
    assert not new.placed
    step = new.step
    made = fit_new(new, step, 0, False, quiet, by_form=True)
    new.stand(made.head.neutral, "fitted", asked=step, fitted=made)
    told = [item.words for item in whats_left(new)]
    assert any("by its form alone" in words and "may sit" in words for words in told)
    assert not any("needed for a fit" in words for words in told)
    off = np.linalg.norm(made.head.neutral - other(library.neutral), axis=1)
    assert np.median(off) < 6.0
    new.guess()
    assert len(new.marks.guessed) > 3, "the fitted library tells where landmarks may be"
