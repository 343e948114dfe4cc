"""Curvature and ridges against forms whose own are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.curvature import curvature, gradients
from composer.geometry.ridges import ridges


def tube(wide: float, high: float, around: int = 160, long: int = 60, length: float = 60.0):  # type: ignore[no-untyped-def]
    """A tube along z with an ellipse of half axes `wide` and `high` as its section, and its triangles."""
    angle = 2 * np.pi * np.arange(around) / around
    z = np.linspace(0.0, length, long)
    ring = np.stack([wide * np.cos(angle), high * np.sin(angle)], axis=1)
    points = np.concatenate([np.tile(ring, (long, 1)), np.repeat(z, around)[:, None]], axis=1)
    i, j = np.meshgrid(np.arange(long - 1), np.arange(around), indexing="ij")
    a, b = i * around + j, i * around + (j + 1) % around
    quads = np.stack([a, b, b + around, a + around], axis=-1).reshape(-1, 4)
    return points, np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


@settings(max_examples=5)
@given(st.floats(2.0, 40.0))
def test_a_sphere_bends_by_one_over_its_radius_everywhere(radius: float) -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    found = curvature(np.asarray(ball.vertices), np.asarray(ball.faces), 0.05 * radius)
    for bend in (found.largest, found.other):
        np.testing.assert_allclose(np.median(bend) * radius, 1.0, atol=0.02)
        np.testing.assert_allclose(bend * radius, 1.0, atol=0.1)  # edges at the twelve corners are shorter
    np.testing.assert_allclose(found.normals, np.asarray(ball.vertices) / radius, atol=0.01)


def test_a_tube_bends_around_and_not_along() -> None:
    points, triangles = tube(10.0, 10.0)
    found = curvature(points, triangles, 0.5)
    inner = (points[:, 2] > 10.0) & (points[:, 2] < 50.0)
    np.testing.assert_allclose(found.largest[inner], 0.1, rtol=0.01)
    np.testing.assert_allclose(found.other[inner], 0.0, atol=1e-6)
    np.testing.assert_allclose(found.across[inner][:, 2], 0.0, atol=1e-6)


def test_a_linear_field_has_its_own_gradient() -> None:
    ball = trimesh.creation.icosphere(subdivisions=1)
    slope = np.array([1.0, -2.0, 0.5])
    found = gradients(np.asarray(ball.vertices), np.asarray(ball.faces), (ball.vertices @ slope)[:, None])[:, :, 0]
    across = slope - ball.face_normals * (ball.face_normals @ slope)[:, None]
    np.testing.assert_allclose(found, across, atol=1e-9)


def test_the_ridges_of_an_elliptic_tube_run_along_the_ends_of_its_long_axis() -> None:
    points, triangles = tube(12.0, 7.0)
    spun = trimesh.transformations.rotation_matrix(0.013, [0, 0, 1])[:3, :3]  # no vertex lies exactly on the axis
    found = ridges(points @ spun.T, triangles, 0.5, 0.15, 2.0, 20.0)
    at = found.at(points @ spun.T) @ spun
    assert set(np.sign(at[:, 0])) == {-1.0, 1.0} and len(np.unique(found.line)) == 2
    inner = (at[:, 2] > 8.0) & (at[:, 2] < 52.0)
    np.testing.assert_allclose(np.abs(at[inner, 0]), 12.0, atol=0.05)
    assert np.abs(at[inner, 1]).max() < 0.5
    assert found.sharp[inner] == pytest.approx(12.0 / 7.0**2, rel=0.1)  # a / b^2, an ellipse's curvature there
    along = found.along(found.at(points @ spun.T))[inner]
    np.testing.assert_allclose(np.abs(along[:, 2]), 1.0, atol=0.05)


def test_a_ball_and_a_round_tube_have_no_ridge() -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=10.0)
    assert not len(ridges(np.asarray(ball.vertices), np.asarray(ball.faces), 1.0, 0.05, 1.5, 10.0).ends)
    points, triangles = tube(30.0, 30.0)
    assert not len(ridges(points, triangles, 1.0, 0.05, 1.5, 10.0).ends)
