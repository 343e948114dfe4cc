"""Soft shadows and ambient occlusion, drawn by force on whatever renders OpenGL 3.3 here: where they fall."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.picture.lamps import LIGHTS
from composer.viewer.render.camera import Eye
from composer.viewer.render.look import Look
from composer.viewer.render.normals import Normals
from tests.masks.surfaces import sphere

SIZE = (240, 240)
HIGH, RADIUS = 60.0, 18.0
PLAIN, SOFT = Look(light="daylight"), Look(light="daylight", soft=True)


def wall_and_ball() -> Head:
    """A wall that faces the eye, 240 mm wide, and a ball before it."""
    side = np.linspace(-120.0, 120.0, 33)
    x, y = np.meshgrid(side, side)
    at = np.arange(x.size).reshape(x.shape)
    quads = np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]], axis=-1).reshape(-1, 4)
    ball = sphere(3, RADIUS)
    wall = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    faces = [*quads.tolist(), *(ball.polygons.triangles + x.size).tolist()]
    points = np.concatenate([wall, ball.positions + [0.0, 0.0, HIGH]])
    return Head("wall", Polygons.from_faces(faces, len(points)), points)


@pytest.fixture
def pictures(context: object) -> Iterator[dict[str, np.ndarray]]:
    from pyglet import gl

    from composer.viewer.render.view3d import View3D

    head = wall_and_ball()
    view = View3D(0)
    view.open(head)
    positions = head.neutral.astype(np.float32)
    normals, eye = Normals(head).all(positions), Eye(distance=1200.0)
    held = {}
    for name, look in (("plain", PLAIN), ("soft", SOFT), ("again", PLAIN)):
        view.draw(positions, normals, look, eye, SIZE)
        held[name] = view.pixels().astype(float)
    held["at"] = np.array([eye.project(each, *SIZE)[0][0] for each in _places()])
    yield held
    view.close()
    assert gl.glGetError() == gl.GL_NO_ERROR


def _places() -> list[tuple[float, float, float]]:
    """On the wall: the middle of the ball's shadow, its mirror image above, and a far place."""
    x, y, z = np.array(LIGHTS["daylight"].window) / np.linalg.norm(LIGHTS["daylight"].window)
    shadow = (-HIGH * x / z, -HIGH * y / z, 0.0)
    return [shadow, (shadow[0], -shadow[1], 0.0), (95.0, 95.0, 0.0)]


def grey(pixels: np.ndarray, place: np.ndarray) -> float:
    column, row = place.astype(int)
    return float(pixels[row - 3 : row + 4, column - 3 : column + 4].mean())


def test_a_ball_throws_its_shadow_along_the_light_and_nowhere_else(pictures: dict[str, np.ndarray]) -> None:
    shadow, mirrored, far = pictures["at"]
    plain, soft = pictures["plain"], pictures["soft"]
    assert grey(soft, shadow) < grey(plain, shadow) - 25.0
    assert abs(grey(soft, far) - grey(plain, far)) < 4.0
    assert grey(soft, mirrored) > grey(soft, shadow) + 20.0


def test_the_shadow_of_a_wide_light_has_a_soft_edge(pictures: dict[str, np.ndarray]) -> None:
    """The half shade of a light of half width w, seen from one unit away, is 2 w d broad at a gap d: here 2 x .16 x
    about 97 mm, as broad as the ball of 36 mm, so the shadow is deepest in its middle (similar triangles)."""
    shadow = pictures["at"][0]
    column, row = shadow.astype(int)
    darker = (pictures["plain"] - pictures["soft"]).mean(axis=2)[row - 2 : row + 3, column - 55 : column + 56]
    darker = darker.mean(axis=0)
    half = np.flatnonzero(darker > 0.5 * darker.max())
    quarter = np.flatnonzero(darker > 0.12 * darker.max())
    assert (quarter[-1] - quarter[0]) > 1.3 * (half[-1] - half[0])


def test_without_them_a_frame_is_what_it_was(pictures: dict[str, np.ndarray]) -> None:
    np.testing.assert_array_equal(pictures["plain"], pictures["again"])
    assert np.abs(pictures["soft"][:4] - pictures["plain"][:4]).max() == 0.0, "the ground"
