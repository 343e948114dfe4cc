"""Normals again where a pose changed are the same bits as normals of everything."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.viewer.render.normals import Normals
from tests.masks.surfaces import sphere
from tests.small_heads import polygon_meshes, random_head


@given(polygon_meshes(), st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_update_is_all(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 0)
    normals = Normals(head)
    pose = head.neutral.astype(np.float32)
    held = normals.all(pose)
    for _ in range(3):
        first, last = np.sort(rng.integers(0, head.n_vertices + 1, 2))
        pose[first:last] += rng.normal(size=(last - first, 3)).astype(np.float32)
        normals.update(pose, (int(first), int(last)), held)
        assert np.array_equal(held, normals.all(pose))


@given(polygon_meshes(), st.integers(0, 2**32 - 1), st.booleans())
@settings(max_examples=30, deadline=None)
def test_all_is_what_masks_use(polygons: Polygons, seed: int, stands: bool) -> None:
    head = random_head(np.random.default_rng(seed), polygons, 0)
    pose = head.neutral.astype(np.float32)
    assert Normals(head, stands).all(pose) == pytest.approx(Surface(polygons, pose).vertex_normals, abs=2e-3)


def test_a_head_that_stood_still_can_move() -> None:
    ball = sphere(3, 50.0)
    head = Head("ball", ball.polygons, ball.positions.copy())
    normals, pose = Normals(head, stands=True), ball.positions.astype(np.float32)
    held = normals.all(pose)
    pose[10:20] *= 1.2
    normals.update(pose, (10, 20), held)
    assert held == pytest.approx(Normals(head).all(pose), abs=1e-5)


def test_a_ball_has_its_radii_as_normals() -> None:
    ball = sphere(4, 50.0)
    head = Head("ball", ball.polygons, ball.positions.copy())
    found = Normals(head).all(ball.positions.astype(np.float32))
    assert found == pytest.approx(ball.positions / 50.0, abs=0.01)
    assert found.dtype == np.float32


def test_a_vertex_of_no_polygon_has_no_normal() -> None:
    head = Head("loose", Polygons.from_faces([[0, 1, 2]], 4), np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [5, 5, 5.0]]))
    found = Normals(head, stands=True).all(head.neutral.astype(np.float32))
    assert found == pytest.approx(np.array([[0, 0, 1], [0, 0, 1], [0, 0, 1], [0, 0, 0.0]]))


def test_a_small_range_on_a_large_mesh_leaves_the_rest_alone() -> None:
    ball = sphere(4)
    head = Head("ball", ball.polygons, ball.positions.copy())
    normals, pose = Normals(head), ball.positions.astype(np.float32)
    held = normals.all(pose)
    pose[100:120] *= 1.5
    before = held.copy()
    normals.update(pose, (100, 120), held)
    assert np.array_equal(held, normals.all(pose))
    changed = np.flatnonzero((held != before).any(axis=1))
    ring = set(range(100, 120)) | set(ball.polygons.adjacency[100:120].indices.tolist())
    assert set(changed.tolist()) <= ring
