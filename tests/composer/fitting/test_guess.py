"""Guessed landmarks: exact where the sculpt is the head moved, corrected by mirror images, refused with too few."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.bench.cube_sphere import cube_sphere
from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.fitted_landmarks import found_landmarks
from composer.fitting.guess import guess_landmarks
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.head.places import resolve


def ball() -> Head:
    """A ball of 100 mm, with landmarks at vertices: a nose, a chin, and eyes, corners and ears on both sides."""
    polygons, positions = cube_sphere(12, seed=0)
    positions = 100.0 * positions / np.linalg.norm(positions, axis=1, keepdims=True)

    def at(*direction: float) -> int:
        return int(np.argmax(positions @ (np.array(direction) / np.linalg.norm(direction))))

    points = {"pronasale": at(0, 0, 1), "gnathion": at(0, -1, 0.6), "sellion": at(0, 0.4, 1)}
    for side, x in (("left", 1.0), ("right", -1.0)):
        points |= {f"exocanthion_{side}": at(0.5 * x, 0.4, 1), f"cheilion_{side}": at(0.4 * x, -0.5, 1),
                   f"tragion_{side}": at(x, 0, 0)}  # fmt: skip
    brow = np.array([at(x, 0.6, 1) for x in (-0.5, -0.25, 0.0, 0.25, 0.5)])
    return Head("ball", polygons, positions, landmarks=Landmarks(points, {"brow": brow}))


@settings(max_examples=15, deadline=None)
@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3), st.floats(0.2, 5.0))
def test_on_the_head_itself_moved_every_guess_is_the_landmark(a: float, b: float, c: float, scale: float) -> None:
    head = ball()
    turn = Rotation.from_rotvec([a, b, c]).as_matrix()
    moved = scale * head.neutral @ turn.T + [7.0, -3.0, 20.0]
    sculpt = ClosestSurface(moved, head.polygons.triangles)
    marks = head.landmarks
    assert marks is not None
    given_ = {name: marks.points[name] for name in ("pronasale", "gnathion", "exocanthion_left", "tragion_left")}
    for name, place in guess_landmarks(head, sculpt, given_).items():
        away = np.linalg.norm(resolve(place, moved) - marks.position(name, moved))
        assert away < 1e-3 * scale * head.diagonal, name
    every = found_landmarks(head, moved, sculpt, given_)
    assert set(every) == set(marks.points) - set(given_)
    for name, place in every.items():
        assert np.linalg.norm(resolve(place, moved) - marks.position(name, moved)) < 1e-9 * scale * head.diagonal


def test_a_place_on_one_side_says_where_the_other_is() -> None:
    head = ball()
    marks = head.landmarks
    assert marks is not None
    sculpt = ClosestSurface(head.neutral, head.polygons.triangles)
    odd = int(np.argmax(head.neutral @ np.array([0.8, 0.2, 0.8])))  # the left eye's corner, further out than the head's
    names = ("pronasale", "gnathion", "sellion", "tragion_left", "tragion_right")
    given_ = {name: marks.points[name] for name in names}
    guess = guess_landmarks(head, sculpt, given_ | {"exocanthion_left": odd})["exocanthion_right"]
    mirrored = head.neutral[odd] * [-1, 1, 1]
    plain = marks.position("exocanthion_right", head.neutral)
    there = resolve(guess, head.neutral)
    assert np.linalg.norm(there - mirrored) < np.linalg.norm(there - plain)


def test_what_the_sculpt_does_not_have_is_not_guessed() -> None:
    head = ball()
    marks = head.landmarks
    assert marks is not None
    behind = int(np.argmin(head.neutral[:, 2]))
    marks = Landmarks({**marks.points, "opisthocranion": behind}, marks.curves)
    head = head.with_(landmarks=marks)
    triangles = head.polygons.triangles
    scan = triangles[(head.neutral[triangles][:, :, 2] > -0.2 * head.neutral[:, 2].max()).all(axis=1)]
    sculpt = ClosestSurface(head.neutral, scan)  # a scan from the front, without a back
    names = ("pronasale", "gnathion", "sellion", "exocanthion_left", "exocanthion_right")
    given_ = {name: marks.points[name] for name in names}
    assert "opisthocranion" not in guess_landmarks(head, sculpt, given_)
    assert {"cheilion_left", "cheilion_right"} <= set(guess_landmarks(head, sculpt, given_))
    assert "opisthocranion" not in found_landmarks(head, head.neutral, sculpt, given_)


def test_two_places_are_too_few() -> None:
    head = ball()
    sculpt = ClosestSurface(head.neutral, head.polygons.triangles)
    with pytest.raises(MoueError, match="2 landmarks are placed; place three"):
        guess_landmarks(head, sculpt, {"pronasale": 0, "gnathion": 1})
