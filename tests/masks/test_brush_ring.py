"""The ring of a brush on a plane is a circle: every point of it lies at the radius, and it goes all the way round."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from composer.geometry.barriers import Barriers
from composer.geometry.surface import Surface
from masks.brush_ring import _extend, _lattice, ring
from masks.paint import Painter
from tests.masks.surfaces import plane

AT = [30, 31, 40, 39]  # a quad in the middle of 9 x 9
MIDDLE = [0.25, 0.25, 0.25, 0.25]


def rim(surface: Surface, radius: float, painter: Painter | None = None, side: int | None = None) -> np.ndarray:
    a, b, t = ring(painter or Painter(surface), AT, MIDDLE, radius, side)
    p = surface.positions
    return (1 - t.sum(axis=1))[:, None] * p[a] + t[:, :1] * p[b[:, 0]] + t[:, 1:] * p[b[:, 1]]


def moved(shift: float, size: float = 1.0) -> Surface:
    flat = plane(9, 9)
    return flat.at(size * (flat.positions + shift))


@pytest.mark.parametrize("shift", [0.0, 1000.0])
@pytest.mark.parametrize("radius", [0.2, 1.0, 2.7])
def test_a_ring_on_a_plane_is_a_circle_in_short_pieces(radius: float, shift: float) -> None:
    surface = moved(shift)
    points = rim(surface, radius)
    centre = surface.positions[AT].mean(axis=0)
    away = np.linalg.norm(points - centre, axis=1)
    np.testing.assert_allclose(away, radius, rtol=0.02)  # straight pieces within a circle
    pieces = np.linalg.norm(points[::2] - points[1::2], axis=1)
    assert pieces.max() <= radius / 4 and pieces.sum() == pytest.approx(2 * np.pi * radius, rel=0.02)


def test_a_ring_grows_with_the_surface() -> None:
    np.testing.assert_allclose(rim(moved(0.0, 50.0), 50.0), 50.0 * rim(moved(0.0), 1.0), atol=1e-6)


def test_a_ring_ends_at_a_barrier() -> None:
    surface = plane(9, 9)
    line = np.arange(9) + 45  # x = 5; the centre is at 3.5
    painter = Painter(surface, Barriers(surface, [line], reach_mm=9.0))
    points = rim(surface, 2.5, painter)
    assert points[:, 0].max() == pytest.approx(5.0, abs=0.05) and points[:, 0].min() == pytest.approx(1.0, abs=0.05)
    assert len(rim(surface, 2.5)) > len(points)


@pytest.mark.parametrize("way", [1, -1])
def test_a_ring_takes_in_its_own_line_and_not_another(way: int) -> None:
    # Lines at x = 5 and x = 1, the centre between them at 3.5, on the one side of the first: to its left or its right.
    surface = plane(9, 9)
    lines = [(np.arange(9) + 45)[::way], np.arange(9) + 9]
    painter = Painter(surface, Barriers(surface, lines, reach_mm=1.6))
    side = painter.side_at(np.array(AT), np.array(MIDDLE))
    assert side in (1, 2)
    points = rim(surface, 2.2, painter)
    assert points[:, 0].max() == pytest.approx(5.0, abs=1e-6)


def test_what_is_no_place_or_radius_is_refused() -> None:
    painter = Painter(plane(9, 9))
    for corners, weights, radius in ((AT, [0.5, 0.5, 0.5, 0.5], 1.0), (AT, [0.5, 0.5], 1.0), (AT, MIDDLE, 0.0),
                                     (AT, MIDDLE, np.inf), ([99, 1, 2], [1, 0, 0], 1.0)):  # fmt: skip
        with pytest.raises(MoueError):
            ring(painter, corners, weights, radius)
    assert len(ring(painter, AT, MIDDLE, 0.5)[0]) and len(ring(painter, [30], [1.0], 0.5)[0])


@pytest.mark.parametrize("cuts", [1, 2, 5])
def test_a_triangle_is_cut_into_the_square_of_the_cuts(cuts: int) -> None:
    weights, small = _lattice(cuts)
    assert len(weights) == (cuts + 1) * (cuts + 2) // 2 and len(small) == cuts**2
    np.testing.assert_allclose(weights.sum(axis=1), 1.0, atol=1e-15)
    assert weights.min() == 0.0
    corners = np.array([[0.0, 0], [1, 0], [0, 1]])
    a, b, c = np.moveaxis((weights @ corners)[small], 1, 0)
    area = 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    np.testing.assert_allclose(area, 0.5 / cuts**2, atol=1e-15)  # all alike, and none turned over


def test_a_vertex_beyond_a_fold_is_as_far_as_its_nearest_neighbour_and_the_way_from_there() -> None:
    positions = np.array([[0.0, 0, 0], [3, 0, 0], [0, 4, 0], [9, 9, 0]])
    distance = np.array([1.0, 7.0, np.inf, np.inf])
    turned = np.array([False, False, True, False])
    triangles = np.array([[0, 1, 2], [1, 3, 2]])
    _extend(positions, triangles, distance, turned, np.zeros(4, dtype=bool))
    assert distance.tolist() == [1.0, 7.0, 5.0, np.inf]  # 1 + 4, not 7 + 5
    again = np.array([1.0, 7.0, np.inf, np.inf])
    _extend(positions, triangles, again, turned, np.array([True, False, False, False]))
    assert again.tolist() == [1.0, 7.0, 12.0, np.inf]  # nothing is told across a barrier
