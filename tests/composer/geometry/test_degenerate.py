"""Degenerate meshes: collapsed and needle triangles, duplicate vertices, tiny and huge ones; answers known at sight."""

from __future__ import annotations

import numpy as np
import pytest

from composer.geometry.contour import contour
from composer.geometry.eigenbasis import smoothest
from composer.geometry.polygons import Polygons
from composer.geometry.self_intersection import crossing_mask, crossing_pairs
from composer.geometry.surface import Surface
from composer.geometry.triangle_metric import principal_stretches
from tests.small_heads import grid

SIZES = [1e-6, 1.0, 1e6]
FLAT = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]])
THROUGH = np.array([[1.0, 1, -1], [1, 1, 1], [1, 2, 1]])


def two(first: np.ndarray, second: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return np.concatenate([first, second]), np.array([[0, 1, 2]]), np.array([[3, 4, 5]])


@pytest.mark.parametrize("size", SIZES)
def test_triangles_cross_at_every_size(size: float) -> None:
    assert crossing_pairs(*two(size * FLAT, size * THROUGH)).tolist() == [[0, 0]]
    assert not crossing_mask(*two(size * FLAT, size * (THROUGH + [9.0, 0, 0]))).any()


@pytest.mark.parametrize("size", SIZES)
def test_a_triangle_without_area_is_crossed_by_none_and_crosses_as_the_line_that_it_is(size: float) -> None:
    point = np.tile([[1.0, 1.0, 0.0]], (3, 1))
    line = np.array([[1.0, 1, -1], [1, 1, 1], [1, 1, 0.5]])
    beside = np.array([[9.0, 9, -1], [9, 9, 1], [9, 9, 0.5]])
    assert not len(crossing_pairs(*two(size * FLAT, size * point)))
    assert len(crossing_pairs(*two(size * FLAT, size * line))) == 1
    assert not len(crossing_pairs(*two(size * FLAT, size * beside)))


def test_a_needle_that_passes_through_is_found() -> None:
    needle = np.array([[1.0, 1, -1e4], [1 + 1e-9, 1, -1e4], [1, 1, 1e4]])
    assert len(crossing_pairs(*two(FLAT, needle))) == 1


def test_triangles_that_share_a_duplicate_vertex_touch_and_do_not_cross() -> None:
    other = np.array([[0.0, 0, 0], [-3, -3, 2], [-3, -3, -2]])
    assert not len(crossing_pairs(*two(FLAT, other)))


@pytest.mark.parametrize("size", SIZES)
def test_a_contour_of_a_collapsed_triangle_is_a_point_on_it(size: float) -> None:
    triangles, values = np.array([[0, 1, 2]]), size * np.array([0.0, 1.0, 1.0])
    a, b, t = contour(triangles, values, 0.25 * size)
    assert a.tolist() == [0, 0] and sorted(b.tolist()) == [1, 2]
    np.testing.assert_allclose(t, 0.25, rtol=1e-12)


def test_a_contour_of_values_that_are_all_alike_is_empty() -> None:
    assert len(contour(np.array([[0, 1, 2]]), np.ones(3), 1.0)[0]) == 0
    assert len(contour(np.zeros((0, 3), dtype=int), np.ones(3), 0.5)[0]) == 0


@pytest.mark.parametrize("size", SIZES)
def test_the_smoothest_functions_scale_with_the_mesh_and_bear_collapsed_faces(size: float) -> None:
    polygons = grid(9, 9)
    y, x = np.meshgrid(np.arange(9.0), np.arange(9.0), indexing="ij")
    places = np.stack([x.ravel(), y.ravel(), 0.0 * x.ravel()], axis=1)
    places[10] = places[11]  # two faces lose a side
    one, other = Surface(polygons, places), Surface(polygons, size * places)
    first = smoothest(one.laplacian, one.mass, 6)
    second = smoothest(other.laplacian, other.mass, 6)
    assert np.isfinite(first.functions).all()
    np.testing.assert_allclose(second.rates * size**2, first.rates, rtol=1e-4, atol=1e-6)  # subspace iteration: nearly
    assert first.rates[0] == pytest.approx(0.0, abs=1e-6)  # the constant is the smoothest of all


def test_areas_and_lengths_of_collapsed_and_duplicate_places_are_finite() -> None:
    faces = Polygons.from_faces([[0, 1, 2], [0, 2, 3], [3, 4, 5]], 6)
    places = np.array([[0.0, 0, 0], [1, 0, 0], [1, 0, 0], [2, 0, 0], [2, 0, 0], [2, 0, 0]])
    surface = Surface(faces, places)
    for values in (surface.vertex_normals, surface.vertex_areas, surface.edge_lengths, surface.mass):
        assert np.isfinite(values).all()
    assert np.isfinite(surface.laplacian.data).all()


def test_a_triangle_that_has_no_area_at_rest_strains_by_a_finite_amount() -> None:
    rest = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]])
    assert np.isfinite(principal_stretches(rest, 2.0 * rest, np.array([[0, 1, 2]]))).all()
