"""Waters' linear muscle (1987) and the other movements of flesh keep to their definitions."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from composer.demo.expressions import HeadMotion
from composer.demo.lids import turned_x
from composer.demo.muscles import pull, to_polyline
from tests.composer.demo.library_fixtures import face

inside = st.floats(-80, 80)
points = st.lists(st.tuples(inside, inside, inside), min_size=1, max_size=20).map(lambda p: np.array(p, dtype=float))
ORIGIN, INSERTION = np.zeros(3), np.array([0.0, -40.0, 0.0])


@given(points, st.floats(0.5, 15.0))
def test_a_pull_goes_towards_the_attachment_and_never_past_it(p: np.ndarray, amount: float) -> None:
    moved = pull(p, ORIGIN, INSERTION, amount, 40, 0.9, 1.4)
    assert (np.einsum("ij,ij->i", moved, p - ORIGIN) <= 1e-9).all()
    assert np.linalg.norm(moved, axis=1).max() <= amount + 1e-9
    np.testing.assert_allclose(np.cross(moved, p - ORIGIN), 0, atol=1e-9)


@given(points)
def test_a_pull_is_nothing_at_the_attachment_outside_the_cone_and_beyond_its_reach(p: np.ndarray) -> None:
    moved = np.linalg.norm(pull(p, ORIGIN, INSERTION, 10.0, 40, 0.9, 1.4), axis=1)
    away = np.linalg.norm(p, axis=1)
    with np.errstate(invalid="ignore"):
        angle = np.degrees(np.arccos(np.clip(-p[:, 1] / np.maximum(away, 1e-12), -1, 1)))
    assert (moved[(away >= 56) | (angle >= 40)] < 1e-9).all()
    assert np.linalg.norm(pull(ORIGIN[None], ORIGIN, INSERTION, 10.0, 40, 0.9, 1.4)) < 1e-9


@given(points, st.floats(0.1, 3.0))
def test_a_pull_is_linear_in_its_amount(p: np.ndarray, times: float) -> None:
    once = pull(p, ORIGIN, INSERTION, 5.0, 40, 0.9, 1.4)
    np.testing.assert_allclose(pull(p, ORIGIN, INSERTION, 5.0 * times, 40, 0.9, 1.4), times * once, atol=1e-9)


def test_a_pull_is_strongest_where_the_muscle_begins_to_let_go() -> None:
    along = np.linspace(0.05, 1.39, 200)[:, None] * INSERTION
    moved = np.linalg.norm(pull(along, ORIGIN, INSERTION, 10.0, 40, 0.9, 1.4), axis=1)
    assert abs(np.linalg.norm(along[moved.argmax()]) / 40 - 0.9) < 0.01
    assert moved.max() > 9.99


@given(points, st.floats(-1.5, 1.5))
def test_turning_keeps_the_distance_from_the_axis(p: np.ndarray, angle: float) -> None:
    turned = p + turned_x(p, np.full(len(p), angle))
    np.testing.assert_allclose(np.hypot(turned[:, 1], turned[:, 2]), np.hypot(p[:, 1], p[:, 2]), atol=1e-9)
    np.testing.assert_array_equal(turned[:, 0], p[:, 0])


@given(points)
def test_distance_to_a_straight_polyline(p: np.ndarray) -> None:
    line = np.array([[-100.0, 0, 0], [0, 0, 0], [100, 0, 0]])
    distance, _, along = to_polyline(p, line)
    np.testing.assert_allclose(distance, np.hypot(p[:, 1], p[:, 2]), atol=1e-9)
    np.testing.assert_allclose(along, (p[:, 0] + 100) / 200, atol=1e-9)


@settings(max_examples=10, deadline=None)
@given(st.floats(-6, 6), st.floats(-6, 6))
def test_sliding_keeps_the_height_over_the_face(dx: float, dy: float) -> None:
    subject = face("keeper")
    slide = subject.posing.slide
    cheek = subject.anatomy.at("cheek") + np.array([[0.0, 0, 0], [3, 4, 0], [-4, -6, 0]])
    assume(abs(dx) + abs(dy) > 0.1)
    moved = slide(cheek, np.tile([dx, dy, 0.0], (3, 1)))
    before, _ = slide.height(cheek)
    after, _ = slide.height(cheek + moved)
    np.testing.assert_allclose(after, before, atol=0.05)


@given(points, st.tuples(*[st.floats(-5, 5)] * 3), st.tuples(*[st.floats(-5, 5)] * 3))
def test_a_head_motion_is_rigid(p: np.ndarray, turn: tuple, shift: tuple) -> None:
    moved = HeadMotion(turn, shift).apply(p)
    np.testing.assert_allclose(
        np.linalg.norm(moved[:, None] - moved, axis=2), np.linalg.norm(p[:, None] - p, axis=2), atol=1e-9
    )
