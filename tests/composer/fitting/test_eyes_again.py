"""Eyeballs make room for lids that the projection moved, on all levels alike; libigl says what lies in them."""

from __future__ import annotations

import igl
import numpy as np
import pytest

from composer.fitting.eyes_again import eyes_behind_lids
from composer.fitting.project import ProjectedLevel
from composer.fitting.sculpt import Ball, ball_through
from composer.geometry.part import part_of
from composer.head.head import Head
from composer.head.levels import Refinement
from tests.demo_heads import neutral_head


@pytest.fixture(scope="module")
def keeper() -> Head:
    return neutral_head("keeper")


@pytest.fixture(scope="module")
def step(keeper: Head) -> Refinement:
    return Refinement(keeper.polygons)


def levels(head: Head, step: Refinement, cage: np.ndarray, fine: np.ndarray | None = None) -> list[ProjectedLevel]:
    """Levels 0 and 1 at the positions `cage` and `fine`, or `cage` subdivided."""
    made = []
    skin = head.skin.astype(float)
    for k, polygons, at, own, on in (
        (0, head.polygons, cage, head.neutral, skin),
        (1, step.polygons, step.apply(cage) if fine is None else fine, step.apply(head.neutral), step.apply(skin)),
    ):
        none = np.zeros(len(at), dtype=bool)
        why = np.zeros(len(at), dtype=np.int8)
        made.append(ProjectedLevel(k, polygons, at, none, none, 0, 0, 0, why, own, on < 0.5))
    return made


def pressed(at: np.ndarray, lid: np.ndarray, skin: np.ndarray, mm: float) -> np.ndarray:
    """The skin pressed `mm` towards the back about a place on a lid."""
    away = np.linalg.norm(at - lid, axis=1)
    return at - mm * (np.exp(-((away / 6.0) ** 2)) * skin)[:, None] * [0.0, 0.0, 1.0]


def inside(head: Head, level: ProjectedLevel, vertices: np.ndarray, lids: np.ndarray) -> np.ndarray:
    """How deep, in mm, `lids` lie in the closed surface of the eyeball `vertices` of a level; 0 outside, by libigl
    (generalised winding numbers: Jacobson, Kavan and Sorkine-Hornung 2013)."""
    corners = np.asarray(part_of(level.polygons, vertices).triangles, dtype=np.int64)
    ball = np.ascontiguousarray(level.positions[vertices])
    points = np.ascontiguousarray(level.positions[lids])
    away = np.sqrt(igl.point_mesh_squared_distance(points, ball, corners)[0])
    return np.where(igl.fast_winding_number(ball, corners, points) > 0.5, away, 0.0)


@pytest.mark.parametrize("finer_alone", [False, True])
def test_a_lid_pressed_into_the_eye_moves_it_back_on_all_levels(
    keeper: Head, step: Refinement, finer_alone: bool
) -> None:
    marks, eye = keeper.landmarks, keeper.part("eye_left").vertices
    assert marks is not None
    lid = marks.position("palpebrale_superius_left", keeper.neutral)
    skin = keeper.skin.astype(float)
    cage = keeper.neutral if finer_alone else pressed(keeper.neutral, lid, skin, 1.2)
    fine = pressed(step.apply(keeper.neutral), lid, step.apply(skin), 1.2) if finer_alone else None
    before = levels(keeper, step, np.array(cage), fine)
    after, notes = eyes_behind_lids(keeper, before, ())
    near = np.flatnonzero((step.apply(skin) > 0.5) & (np.linalg.norm(before[1].reference - lid, axis=1) < 8.0))
    of = np.zeros(keeper.n_vertices)
    of[eye] = 1.0
    rows = np.flatnonzero(step.apply(of) > 0.5)
    own = inside(keeper, levels(keeper, step, keeper.neutral)[1], rows, near).max()
    assert inside(keeper, before[1], rows, near).max() > own + 0.3
    assert inside(keeper, after[1], rows, near).max() < own + 0.1
    assert len(notes) == 1 and "eye_left" in notes[0]
    # subdivision is linear: the finer ball is the coarser one, subdivided
    np.testing.assert_allclose(after[1].positions[rows], step.apply(after[0].positions)[rows], atol=1e-6)
    rest = np.setdiff1d(np.arange(keeper.n_vertices), np.concatenate(
        [part.vertices for part in keeper.parts if np.any(after[0].positions[part.vertices] != cage[part.vertices])]
    ))  # fmt: skip
    np.testing.assert_array_equal(after[0].positions[rest], cage[rest])


def test_eyes_with_room_and_eyes_in_the_place_of_a_ball_of_the_sculpt_stay(keeper: Head, step: Refinement) -> None:
    before = levels(keeper, step, np.array(keeper.neutral))
    after, notes = eyes_behind_lids(keeper, before, ())
    assert not notes and all(a.positions is b.positions for a, b in zip(after, before, strict=True))
    marks = keeper.landmarks
    assert marks is not None
    lid = marks.position("palpebrale_superius_left", keeper.neutral)
    cage = pressed(keeper.neutral, lid, keeper.skin.astype(float), 1.2)
    points = keeper.neutral[keeper.part("eye_left").vertices]
    ball = ball_through(points, 0)
    assert ball is not None
    after, notes = eyes_behind_lids(keeper, levels(keeper, step, cage), (Ball(ball.centre, ball.radius, 0, 0.0),))
    assert not notes
