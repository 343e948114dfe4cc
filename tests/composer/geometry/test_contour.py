"""Level lines against circles and planes, without gaps; rings that are round, and end where the brush ends."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.geometry.barriers import Barriers
from composer.geometry.contour import contour
from composer.geometry.surface import Surface
from masks.brush_ring import ring
from masks.paint import Brush, Painter
from tests.masks.surfaces import cylinder, plane, slit_plane, sphere
from tests.masks.test_paint import corner_of


def points_of(surface: Surface, line: tuple[np.ndarray, ...]) -> np.ndarray:
    """(k, 3) the points of a contour or ring."""
    a, b, t = line
    b, t = b.reshape(len(a), -1), t.reshape(len(a), -1)
    return surface.positions[a] * (1 - t.sum(axis=1))[:, None] + (surface.positions[b] * t[:, :, None]).sum(axis=1)


def length_of(points: np.ndarray) -> float:
    return float(np.linalg.norm(points[1::2] - points[::2], axis=1).sum())


def open_ends(points: np.ndarray) -> int:
    """How many points are the end of an odd number of segments."""
    names = np.unique(np.round(points * 1e6).astype(np.int64), axis=0, return_inverse=True)[1].ravel()
    return int((np.bincount(names) % 2).sum())


def test_a_circle_on_a_disc() -> None:
    """Distance from the middle of a fine plane: a level line is a closed circle of length 2 pi r."""
    flat = plane(81, 81, 0.25)
    away = np.linalg.norm(flat.positions - (10, 10, 0), axis=1)
    line = points_of(flat, contour(flat.triangles, away, 6.0))
    assert np.linalg.norm(line - (10, 10, 0), axis=1) == pytest.approx(6.0, abs=0.01)
    assert length_of(line) == pytest.approx(2 * np.pi * 6.0, rel=2e-3)
    assert open_ends(line) == 0


@pytest.mark.parametrize("height", [-0.7, 0.0, 0.313])
def test_a_plane_through_a_ball(height: float) -> None:
    """A linear function is cut exactly: every point lies in the plane, and the line is closed."""
    ball = sphere(4)
    line = points_of(ball, contour(ball.triangles, ball.positions[:, 2], height))
    assert line[:, 2] == pytest.approx(height, abs=1e-12)
    assert length_of(line) == pytest.approx(2 * np.pi * np.sqrt(1 - height**2), rel=3e-3)
    assert open_ends(line) == 0


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_no_gaps_whatever_the_values(seed: int) -> None:
    """On a closed surface every level line is closed, values at the level itself included."""
    ball = sphere(1)
    values = np.random.default_rng(seed).integers(0, 4, ball.n_vertices) / 2.0
    line = points_of(ball, contour(ball.triangles, values, 0.5))
    assert open_ends(line) == 0


def test_infinite_values_keep_the_line_at_the_finite_end() -> None:
    triangle = np.array([[0, 1, 2], [1, 3, 2]])
    a, b, t = contour(triangle, [np.inf, 0.0, 0.0, 5.0], 1.0)
    points = {(int(x), int(y), float(z)) for x, y, z in zip(a, b, t, strict=True)}
    assert points == {(0, 1, 1.0), (0, 2, 1.0), (1, 3, 0.2), (2, 3, 0.2)}


def test_a_value_that_is_not_a_number_is_refused() -> None:
    with pytest.raises(MoueError, match="vertex 1 "):
        contour(np.array([[0, 1, 2]]), [0.0, np.nan, 1.0], 0.5)


@pytest.mark.parametrize("radius", [0.2, 0.7, 2.0, 3.0, 9.0])
@pytest.mark.parametrize("bary", [(1.0, 0.0, 0.0, 0.0), (0.4, 0.3, 0.2, 0.1)])
def test_a_ring_in_the_plane_is_a_circle(radius: float, bary: tuple[float, ...]) -> None:
    """Far smaller than a polygon, or far larger."""
    flat = plane(31, 31)
    corners = flat.polygons.face(15 * 30 + 15)
    line = points_of(flat, ring(Painter(flat), corners, bary, radius))
    away = np.linalg.norm(line - np.array(bary) @ flat.positions[corners], axis=1)
    assert away.min() > 0.985 * radius and away.max() < 1.001 * radius
    assert length_of(line) == pytest.approx(2 * np.pi * radius, rel=0.01)
    assert open_ends(line) == 0


def test_a_ring_on_a_ball_is_a_circle_of_latitude() -> None:
    """At the arc length r from the pole of a unit ball the circle has radius sin r."""
    ball = sphere(5)
    top = int(np.argmax(ball.positions[:, 2]))
    line = points_of(ball, ring(Painter(ball), *corner_of(ball, top), 0.6))
    polar = np.arccos(np.clip(line @ ball.positions[top] / np.linalg.norm(line, axis=1), -1, 1))
    assert polar == pytest.approx(0.6, abs=0.02)
    assert open_ends(line) == 0


def test_a_ring_rolls_round_a_cylinder() -> None:
    """Unrolled it is a circle."""
    tube = cylinder(64, 41, 10.0, 1.0)
    line = points_of(tube, ring(Painter(tube), *corner_of(tube, 20), 6.0))
    along, height = 10.0 * np.arctan2(line[:, 1], line[:, 0]), line[:, 2] - 20.0
    assert np.hypot(along, height) == pytest.approx(6.0, abs=0.1)


def test_a_ring_does_not_turn_round_a_fold() -> None:
    """On a thin tube it ends where the surface turns away from the centre, at a right angle from it."""
    tube = cylinder(48, 81, 3.0, 0.5)
    line = points_of(tube, ring(Painter(tube), *corner_of(tube, 40), 12.0))
    angle = np.abs(np.degrees(np.arctan2(line[:, 1], line[:, 0])))
    assert angle.max() <= 90.0 + 1.0
    assert angle.max() >= 88.0
    assert open_ends(line) == 0


@pytest.mark.parametrize("along", [3, 15, 23])
def test_a_ring_never_crosses_a_barrier(along: int) -> None:
    surface, upper, lower = slit_plane(12, 40, 25)
    painter = Painter(surface, Barriers(surface, [upper, lower], reach_mm=8.0))
    line = points_of(surface, ring(painter, *corner_of(surface, int(upper[along]) + 2 * 40), 5.0))
    assert len(line)
    beside = line[:, 1] < 24.0
    assert line[beside, 0].min() >= 12.0 - 1e-9


@given(st.integers(0, 2**32 - 1), st.floats(1.5, 8.0))
@settings(max_examples=25, deadline=None)
def test_the_ring_is_the_rim_of_the_footprint(seed: int, radius: float) -> None:
    """Every vertex that the dab touches lies within the ring's reach, and every one it leaves does not."""
    flat = plane(24, 24)
    rng = np.random.default_rng(seed)
    corners = flat.polygons.face(int(rng.integers(flat.polygons.n_faces)))
    bary = rng.dirichlet(np.ones(4))
    painter = Painter(flat)
    touched, _ = painter.footprint(corners, bary, Brush(radius))
    line = points_of(flat, ring(painter, corners, bary, radius))
    centre = bary @ flat.positions[corners]
    away = np.linalg.norm(flat.positions - centre, axis=1)
    assert np.linalg.norm(line - centre, axis=1) == pytest.approx(radius, rel=0.02)
    assert set(np.flatnonzero(away < 0.97 * radius)) <= set(touched.tolist())
    assert away[touched].max(initial=0.0) <= radius


def test_a_ring_refuses_what_makes_no_sense() -> None:
    painter = Painter(plane(4, 4))
    for corners, bary, radius in (([0, 1], [0.5, 0.4], 1.0), ([0, 1], [0.5, 0.5], 0.0), ([0, 99], [0.5, 0.5], 1.0)):
        with pytest.raises(MoueError):
            ring(painter, corners, bary, radius)
