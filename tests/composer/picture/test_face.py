"""Where the face is, and what a scale with a bend shows."""

from __future__ import annotations

import numpy as np
import pytest

from composer.head.head import Head, Shape
from composer.picture.face import box_about, face_points
from composer.picture.heat import Scale, movement_scale
from tests.composer.checks.check_heads import plane


def moving(where: np.ndarray, also: float = 0.0) -> Head:
    polygons, points = plane(20, 100.0)
    delta = np.where(where[:, None], [0.0, 0.0, 5.0], [0.0, 0.0, 0.0]) + [also, 0.0, 0.0]
    return Head("sheet", polygons, points, (Shape("s", delta.astype(np.float32)),))


@pytest.mark.parametrize("head_motion", [0.0, 30.0])
def test_the_face_is_what_moves_whatever_the_whole_head_does(head_motion: float) -> None:
    _, points = plane(20, 100.0)
    inside = (np.abs(points[:, 0]) <= 20.0) & (points[:, 1] >= 10.0)
    found = face_points(moving(inside, head_motion))
    assert found is not None
    np.testing.assert_allclose([found.min(axis=0)[0], found.max(axis=0)[0]], [-22.4, 22.4])  # 40 mm and 6 percent of it
    np.testing.assert_allclose([found.min(axis=0)[1], found.max(axis=0)[1]], [7.6, 52.4])


def test_a_neck_that_trails_behind_an_opening_jaw_is_no_face_and_the_open_jaw_fits() -> None:
    polygons, points = plane(20, 100.0)
    jaw, neck = points[:, 1] > 30.0, points[:, 1] < -30.0
    delta = np.zeros_like(points)
    delta[jaw], delta[neck] = [0.0, 20.0, 0.0], [0.0, -4.0, 0.0]
    found = face_points(Head("sheet", polygons, points, (Shape("open", delta.astype(np.float32)),)))
    assert found is not None
    assert found[:, 1].min() > 20.0 and found[:, 1].max() > 70.0


def test_where_everything_moves_or_nothing_does_the_whole_head_is_shown() -> None:
    everywhere = np.ones(21 * 21, dtype=bool)
    assert face_points(moving(everywhere)) is None and face_points(moving(~everywhere)) is None


def test_a_box_is_never_smaller_than_asked() -> None:
    box = box_about(np.zeros((1, 3)), 0.1, 30.0)
    np.testing.assert_allclose(np.ptp(box, axis=0), 30.0)


def test_a_square_root_scale_shows_a_quarter_in_the_middle_and_says_so() -> None:
    scale = movement_scale(np.array([40.0]), 0.5)
    assert "square root" in scale.words and float(scale.amount(0.5)) == pytest.approx(10.0)
    straight = Scale("m", "mm", 0.0, 1.0)
    np.testing.assert_allclose(scale.colours(np.array([10.0]))[0, :3], straight.colours(np.array([0.5]))[0, :3])
    np.testing.assert_allclose(scale.share(scale.amount(np.linspace(0, 1, 7))), np.linspace(0, 1, 7), atol=1e-12)
