"""The whole fit on the demo: keeper's cage on ferrier's sculpt, judged by where its vertices truly belong."""

from __future__ import annotations

import json

import numpy as np
import pytest

from composer.errors import MoueError
from composer.fitting.chain import FittedHead, fit_head
from composer.fitting.closest import ClosestSurface
from composer.fitting.fit_state import FitOptions
from composer.fitting.guess import guess_landmarks
from composer.fitting.zones import free_zones
from composer.head.landmarks import Landmarks
from tests.demo_heads import neutral_head, sculpt


@pytest.fixture(scope="module")
def keeper():  # type: ignore[no-untyped-def]
    return neutral_head("keeper")


@pytest.fixture(scope="module")
def ferrier():  # type: ignore[no-untyped-def]
    return sculpt("ferrier")


@pytest.fixture(scope="module")
def fitted(keeper, ferrier) -> FittedHead:  # type: ignore[no-untyped-def]
    marks = (keeper.landmarks, ferrier.landmarks)
    return fit_head(keeper, ferrier.positions, ferrier.polygons, *marks, FitOptions(up_to=1))


def test_vertices_land_near_their_true_places(fitted: FittedHead, ferrier) -> None:  # type: ignore[no-untyped-def]
    true = ferrier.true_positions()
    followed = fitted.free[: len(true)] < 0.5
    off = np.linalg.norm(fitted.head.neutral[: len(true)] - true, axis=1)[followed]
    assert np.median(off) < 1.5 and off.mean() < 2.0  # mm; the similarity alone leaves 4.2


def test_four_landmarks_do_and_guesses_are_not_taken_for_true(keeper, ferrier) -> None:  # type: ignore[no-untyped-def]
    names = ("pronasale", "gnathion", "exocanthion_left", "exocanthion_right")
    placed = {name: ferrier.landmarks.points[name] for name in names}
    true, surface = ferrier.true_positions(), ClosestSurface(ferrier.positions, ferrier.polygons.triangles)
    guessed = placed | guess_landmarks(keeper, surface, placed)
    off = []
    for points in (placed, guessed):
        done = fit_head(
            keeper, ferrier.positions, ferrier.polygons, keeper.landmarks, Landmarks(points), FitOptions(up_to=0))
        followed = done.free[: len(true)] < 0.5
        off.append(float(np.linalg.norm(done.head.neutral[: len(true)] - true, axis=1)[followed].mean()))
    assert off[0] < 2.0 and off[0] < off[1]  # mm


def test_no_face_is_turned_or_folded_and_the_skin_lies_on_the_sculpt(fitted: FittedHead) -> None:
    report = fitted.report
    assert report.reversed_faces == 0 and report.folded_faces == 0
    assert report.distance.p95 < 0.05 and report.distance.max < 0.5
    assert all(level.bad_faces == 0 for level in fitted.levels)


def test_eyeballs_are_the_sculpt_s_own(fitted: FittedHead, ferrier) -> None:  # type: ignore[no-untyped-def]
    for part in ferrier.parts:
        ball = ferrier.positions[part.vertices]
        ours = fitted.head.neutral[fitted.head.part(part.name).vertices]
        assert np.linalg.norm(ours.mean(axis=0) - ball.mean(axis=0)) < 1.0


def test_the_report_is_json(fitted: FittedHead) -> None:
    told = json.loads(json.dumps(fitted.report.as_json()))
    assert set(told["levels"]) == {"0", "1"} and "pronasale" in told["landmarks"]


def test_free_zones_are_the_insides(keeper) -> None:  # type: ignore[no-untyped-def]
    flags, notes = free_zones(keeper)
    assert 0 < flags.sum() < 0.25 * len(flags) and len(notes) == 1
    assert flags[keeper.landmarks.points["pronasale"]] == 0


def test_an_unknown_group_is_refused(keeper) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(MoueError, match="no group is named"):
        free_zones(keeper, groups=("nowhere",))
