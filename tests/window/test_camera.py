"""The eye: pixels and rays are each other's inverse, and turning, moving and nearing keep what they should."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.picture.views import VIEWS, camera_of
from composer.viewer.render.camera import Eye, between, framed, named_eye

SIZE = (1280, 800)
EYES = st.builds(
    Eye,
    st.tuples(*[st.floats(-100, 100)] * 3),
    st.floats(200, 3000),
    st.floats(-180, 180),
    st.floats(-89, 89),
    st.floats(8, 50),
)
PLACES = st.tuples(st.floats(0, SIZE[0]), st.floats(0, SIZE[1]))
BOX = np.array([(x, y, z) for x in (-80, 80) for y in (-160, 110) for z in (-100, 120)], dtype=float)


@given(EYES, PLACES, st.floats(50, 4000))
@settings(deadline=None)
def test_a_ray_meets_the_pixel_it_left(eye: Eye, place: tuple[float, float], far: float) -> None:
    origin, direction = eye.ray(*place, *SIZE)
    assert np.linalg.norm(direction) == pytest.approx(1.0)
    seen, depth = eye.project(origin + far * direction, *SIZE)
    assert seen[0] == pytest.approx(place, abs=1e-5)
    assert 0 < depth[0] <= far * (1 + 1e-9)


@given(EYES, st.lists(st.tuples(*[st.floats(-150, 150)] * 3), min_size=1, max_size=5))
@settings(deadline=None)
def test_the_matrices_say_the_same_as_project(eye: Eye, points: list[tuple[float, float, float]]) -> None:
    whole = eye.projection(*SIZE) @ eye.view_matrix() @ np.c_[points, np.ones(len(points))].T
    seen, depth = eye.project(points, *SIZE)
    ahead = depth > 0.2 * eye.distance
    pixels = np.stack([(whole[0] / whole[3] + 1) * SIZE[0] / 2, (1 - whole[1] / whole[3]) * SIZE[1] / 2], axis=1)
    assert pixels[ahead] == pytest.approx(seen[ahead], rel=1e-6, abs=1e-6)
    assert whole[3] == pytest.approx(depth, abs=1e-6)
    assert (np.abs(whole[2] / whole[3])[ahead] <= 1).all()


@given(EYES, st.floats(-500, 500), st.floats(-500, 500))
@settings(deadline=None)
def test_an_orbit_keeps_target_and_distance(eye: Eye, dx: float, dy: float) -> None:
    turned = eye.orbit(dx, dy)
    assert (turned.target, turned.distance, turned.lens) == (eye.target, eye.distance, eye.lens)
    assert np.linalg.norm(turned.place - turned.target) == pytest.approx(eye.distance)
    assert turned.axes @ turned.axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert abs(turned.pitch) <= 89.0 and abs(turned.yaw) <= 180.0


def test_a_drag_to_the_right_turns_the_head_to_the_right() -> None:
    """The nose, nearest to the eye, goes with the pointer, and so down with a drag down."""
    nose = np.array([0.0, 0.0, 120.0])
    seen, _ = Eye().orbit(40, 25).project(nose, *SIZE)
    assert seen[0, 0] > SIZE[0] / 2 + 10 and seen[0, 1] > SIZE[1] / 2 + 5


@given(EYES, st.floats(-200, 200), st.floats(-200, 200))
@settings(deadline=None)
def test_a_pan_takes_the_target_along(eye: Eye, dx: float, dy: float) -> None:
    seen, _ = eye.pan(dx, dy, SIZE[1]).project(eye.target, *SIZE)
    assert seen[0] == pytest.approx((SIZE[0] / 2 + dx, SIZE[1] / 2 + dy), abs=1e-6)


@given(EYES, st.floats(-4, 4), st.tuples(*[st.floats(-80, 80)] * 3))
@settings(deadline=None)
def test_a_zoom_leaves_a_place_where_it_is(eye: Eye, steps: float, towards: tuple[float, float, float]) -> None:
    before, depth = eye.project(towards, *SIZE)
    near = eye.zoom(steps, towards)
    after, new_depth = near.project(towards, *SIZE)
    assert after == pytest.approx(before, abs=1e-5)
    assert new_depth[0] / depth[0] == pytest.approx(near.distance / eye.distance)
    assert eye.zoom(steps).target == pytest.approx(eye.target)


def test_a_zoom_ends() -> None:
    assert Eye().zoom(1e3).distance == 60.0 and Eye().zoom(-1e3).distance == 40000.0


@pytest.mark.parametrize("name", VIEWS)
def test_named_eyes_see_what_pictures_see(name: str) -> None:
    eye, camera = named_eye(name, BOX, SIZE), camera_of(name, BOX, SIZE)
    assert eye.project(BOX, *SIZE)[0] == pytest.approx(camera.project(BOX)[0], abs=0.01)


def test_an_unknown_view_is_named_with_its_neighbours() -> None:
    with pytest.raises(MoueError, match="profile"):
        named_eye("profil", BOX, SIZE)


@given(EYES, st.floats(0.2, 0.95))
@settings(deadline=None, max_examples=40)
def test_framed_keeps_the_direction_and_fills_the_picture(eye: Eye, fill: float) -> None:
    seen, _ = (there := framed(eye, BOX, SIZE, fill)).project(BOX, *SIZE)
    assert (there.yaw, there.pitch, there.lens) == (eye.yaw, eye.pitch, eye.lens)
    low, high = seen.min(axis=0), seen.max(axis=0)
    assert max((high - low) / SIZE) == pytest.approx(fill, rel=0.02)
    assert 0.5 * (low + high) == pytest.approx(np.array(SIZE) / 2, abs=6)


@given(EYES, EYES, st.floats(0, 1))
@settings(deadline=None)
def test_between_stays_between(a: Eye, b: Eye, t: float) -> None:
    assert between(a, b, 0.0) == a and between(a, b, 1.0) == b
    middle = between(a, b, t)
    assert min(a.distance, b.distance) - 1e-6 <= middle.distance <= max(a.distance, b.distance) + 1e-6
    there, back = (abs((eye.yaw - middle.yaw + 180) % 360 - 180) for eye in (a, b))
    assert there <= 180 + 1e-6 and back <= 180 + 1e-6
    assert there + back == pytest.approx(abs((a.yaw - b.yaw + 180) % 360 - 180), abs=1e-6)
