"""Closest points and sides, against libigl and trimesh."""

import numpy as np
import pytest

from composer.geometry.nearest import NearestSurface


def solid():
    trimesh = pytest.importorskip("trimesh")
    return trimesh.creation.annulus(r_min=3.0, r_max=7.0, height=5.0)  # not convex, sharp edges


def cloud(count=800):
    return np.random.default_rng(3).uniform(-9.0, 9.0, (count, 3))


def test_distances_and_sides_agree_with_libigl():
    # libigl's signed_distance, SIGNED_DISTANCE_TYPE_PSEUDONORMAL: the same paper, an independent implementation.
    igl = pytest.importorskip("igl")
    mesh, points = solid(), cloud()
    expected = igl.signed_distance(points, np.array(mesh.vertices), np.array(mesh.faces).astype(np.int32))[0]
    found = NearestSurface(mesh.vertices, mesh.faces)(points)
    np.testing.assert_allclose(np.abs(found.signed), np.abs(expected), atol=1e-9)
    far = np.abs(found.signed) > 1e-6
    np.testing.assert_array_equal(np.sign(found.signed[far]), np.sign(expected[far]))


def test_inside_is_what_rays_call_inside():
    mesh, points = solid(), cloud()
    found = NearestSurface(mesh.vertices, mesh.faces)(points)
    far = np.abs(found.signed) > 1e-3
    np.testing.assert_array_equal(found.signed[far] < 0.0, mesh.contains(points[far]))


def test_the_closest_point_lies_at_the_distance():
    mesh, points = solid(), cloud(200)
    found = NearestSurface(mesh.vertices, mesh.faces)(points)
    np.testing.assert_allclose(
        np.linalg.norm(points - found.points, axis=1), np.abs(found.signed), atol=1e-12
    )
    assert not found.on_border.any()


def test_beyond_the_rim_of_an_open_surface_the_sign_is_called_meaningless():
    positions = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    found = NearestSurface(positions, np.array([[0, 1, 2]]))(np.array([[0.2, 0.2, 1.0], [3.0, -1.0, 0.5]]))
    np.testing.assert_array_equal(found.on_border, [False, True])
    np.testing.assert_allclose(found.signed[0], 1.0)


def test_no_points_give_no_answers():
    mesh = solid()
    assert len(NearestSurface(mesh.vertices, mesh.faces)(np.zeros((0, 3))).signed) == 0
