"""Closest points against libigl's, and their normals, borders and weights."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.bench.cube_sphere import cube_sphere
from composer.fitting.closest import ClosestSurface

igl = pytest.importorskip("igl")


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_exact_agrees_with_libigl_on_any_soup(seed: int) -> None:
    """libigl 2.6, point_mesh_squared_distance: triangles of very different sizes, in no order."""
    lot = np.random.default_rng(seed)
    points = lot.normal(size=(60, 3)) * lot.choice([0.1, 1.0, 5.0], size=(60, 1))
    triangles = np.array([lot.choice(60, 3, replace=False) for _ in range(80)])
    wanted = lot.normal(size=(50, 3)) * 2
    found = ClosestSurface(points, triangles).closest(wanted)
    squared = igl.point_mesh_squared_distance(wanted, points, triangles.astype(np.int64))[0]
    assert np.allclose(found.distance**2, squared, atol=1e-9)


def test_near_agrees_with_libigl_on_a_head_s_surface() -> None:
    polygons, positions = cube_sphere(20)
    lot = np.random.default_rng(3)
    wanted = positions[lot.integers(0, len(positions), 500)] * lot.uniform(0.9, 1.1, (500, 1))
    surface = ClosestSurface(positions, polygons.triangles)
    squared = igl.point_mesh_squared_distance(wanted, positions, polygons.triangles.astype(np.int64))[0]
    assert np.allclose(surface.closest(wanted).distance**2, squared, atol=1e-7)


def test_weights_give_the_point_and_sum_to_one() -> None:
    polygons, positions = cube_sphere(6)
    surface = ClosestSurface(positions, polygons.triangles)
    found = surface.closest(positions * 1.2)
    at = np.einsum("ij,ijk->ik", found.bary, positions[surface.triangles[found.triangle]])
    assert np.allclose(at, found.points) and np.allclose(found.bary.sum(axis=1), 1.0) and found.bary.min() >= 0


def test_an_open_border_is_known() -> None:
    square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    surface = ClosestSurface(square, [[0, 1, 2], [0, 2, 3]])
    found = surface.closest([[0.5, 0.4, 1.0], [2.0, 0.5, 0.0], [-1.0, -1.0, 0.0], [0.5, 0.5, 1.0]])
    assert found.on_border.tolist() == [False, True, True, False]
    assert np.allclose(found.normal, [0, 0, 1])


def test_rays_meet_the_sphere_at_its_radius() -> None:
    polygons, positions = cube_sphere(20)
    ball = 50.0 * positions / np.linalg.norm(positions, axis=1, keepdims=True)
    surface = ClosestSurface(ball, polygons.triangles)
    directions = np.array([[0.3, 0.2, 0.9], [-0.6, 0.1, -0.2]])
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    met, triangle, away, bary = surface.rays.first(np.zeros((2, 3)), directions, 100.0)
    assert met.tolist() == [0, 1] and (triangle >= 0).all() and np.allclose(away, 50.0, atol=0.2)
    assert np.allclose(bary.sum(axis=1), 1.0, atol=1e-6)
    far, _, there, _ = surface.rays.first(np.zeros((2, 3)), directions, np.array([49.0, 50.1]))
    assert far.tolist() == [1] and np.allclose(there, away[1:])
    for reach, meets in ((away * (1.0 - 1e-9), []), (away * (1.0 + 1e-9), [0, 1])):  # finer than single precision
        assert surface.rays.first(np.zeros((2, 3)), directions, reach)[0].tolist() == meets


def test_sides_of_one_triangle_only_are_borders() -> None:
    places = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [9, 9, 9]])
    surface = ClosestSurface(places, np.array([[0, 1, 2], [0, 2, 3]]))
    assert surface.border_edge.tolist() == [[True, False, True], [True, True, False]]
    assert surface.border_vertex.tolist() == [True] * 4 + [False]
    assert surface.mean_edge == pytest.approx((4 + 2 * np.sqrt(2)) / 6)
    assert surface.diagonal == pytest.approx(np.sqrt(2))  # a loose vertex is not counted
    turned = ClosestSurface(places, np.array([[0, 1, 2], [0, 3, 2]]))  # one of them over: its borders stay borders
    assert turned.border_vertex.tolist() == [True] * 4 + [False]
    shut = ClosestSurface(places[:4] + np.eye(4, 3), np.array([[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]]))
    assert not shut.border_edge.any() and not shut.border_vertex.any()
    fan = np.array([[0, 1, 2], [2, 1, 3], [4, 0, 2]])
    only = ClosestSurface(np.random.default_rng(0).normal(size=(5, 3)), fan)
    opposite = np.sort(fan[:, [[1, 2], [2, 0], [0, 1]]], axis=2)[only.border_edge]
    sides = {(int(a), int(b)) for a, b in opposite}
    assert sides == {(0, 1), (1, 3), (2, 3), (0, 4), (2, 4)}
