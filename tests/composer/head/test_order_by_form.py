"""Where connectivity allows several maps, form ranks before raw place: a mesh that was moved is not mapped wrongly."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from composer.bench.cube_sphere import cube_sphere
from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.geometry.rigid import similarity
from composer.head.order import match_order
from tests.composer.head.test_order import SEEDS, moved, shuffled
from tests.small_heads import CUBE, CUBE_CORNERS, grid, random_rotation, torus

KINDS = ("cube", "torus", "grid", "sphere")


def symmetric(kind: str, rng: np.random.Generator) -> tuple[Polygons, NDArray]:
    """A mesh whose connectivity maps onto itself in several ways, and whose form, stretched at random, in fewer."""
    rows, columns = (int(n) for n in rng.integers(3, 7, 2))
    if kind == "cube":
        return CUBE, CUBE_CORNERS * rng.uniform(0.5, 2.0, 3)
    if kind == "sphere":
        polygons, points = cube_sphere(4)
        return polygons, points * rng.uniform(0.5, 2.0, 3)
    if kind == "torus":
        along, round_ = np.arange(rows)[:, None] * 2 * np.pi / rows, np.arange(columns)[None] * 2 * np.pi / columns
        away = 2.0 + 0.7 * np.cos(round_)
        at = np.stack(np.broadcast_arrays(away * np.cos(along), away * np.sin(along), 0.7 * np.sin(round_)), axis=-1)
        return torus(rows, columns), at.reshape(-1, 3)
    x, y = np.meshgrid(np.arange(columns) * rng.uniform(0.5, 2.0), np.arange(float(rows)))
    return grid(rows, columns), np.stack([x, y, 0.1 * x * y], axis=-1).reshape(-1, 3)


def residual(a: NDArray, b: NDArray) -> float:
    """RMS distance after the best similarity, of the size of `a`."""
    return float(np.sqrt(((similarity(b, a)(b) - a) ** 2).sum(axis=1).mean()) / np.linalg.norm(np.ptp(a, axis=0)))


@pytest.mark.parametrize("kind", KINDS)
@settings(deadline=None, max_examples=20)
@given(seed=SEEDS, noise=st.sampled_from([0.0, 0.02, 0.1, 0.3]))
def test_a_mesh_that_is_a_similarity_away_is_matched_so_or_refused(kind: str, seed: int, noise: float) -> None:
    rng = np.random.default_rng(seed)
    mesh, points = symmetric(kind, rng)
    points = points + noise * rng.normal(size=points.shape)
    other, order, _ = shuffled(mesh, rng)
    there = moved(rng.uniform(0.1, 10.0) * points @ random_rotation(rng).T + 5.0 * rng.normal(size=3), order)
    try:
        found = match_order(mesh, other, points, there)
    except MoueError:
        assert noise < 0.1  # so nearly symmetric that several maps fit
        return
    assert residual(points, there[found.vertices]) < max(1e-6, 2 * noise if noise < 0.1 else 0.0)
    if noise >= 0.1:
        assert np.array_equal(found.vertices, order)


@pytest.mark.parametrize("kind", KINDS)
@settings(deadline=None, max_examples=12)
@given(seed=SEEDS)
def test_another_pose_and_another_person_in_the_same_stand_are_still_matched(kind: str, seed: int) -> None:
    """Every vertex moves by a few percent, and the whole is turned by a few degrees: place decides as it did."""
    rng = np.random.default_rng(seed)
    mesh, points = symmetric(kind, rng)
    points = points + 0.02 * rng.normal(size=points.shape)
    other, order, _ = shuffled(mesh, rng)
    angle = np.radians(rng.uniform(-5.0, 5.0))
    turn = np.array([[np.cos(angle), -np.sin(angle), 0.0], [np.sin(angle), np.cos(angle), 0.0], [0.0, 0.0, 1.0]])
    person = (points * rng.uniform(0.95, 1.05, 3) + 0.02 * rng.normal(size=points.shape)) @ turn.T
    try:
        found = match_order(mesh, other, points, moved(person, order))
    except MoueError:
        assert kind == "grid"  # a narrow one is so nearly its own half turn that nothing tells
        return
    assert np.array_equal(found.vertices, order)


@pytest.mark.parametrize("seed", range(3))
def test_of_more_ways_than_are_tried_those_likest_in_form_are_among_them(seed: int) -> None:
    """A torus of 18 x 15 maps onto itself in 540 ways, and only one of them is meant."""
    rng = np.random.default_rng(seed)
    mesh = torus(18, 15)
    points = rng.normal(size=(270, 3))
    other, order, _ = shuffled(mesh, rng)
    there = 3.0 * points @ random_rotation(rng).T + rng.normal(size=3)
    assert np.array_equal(match_order(mesh, other, points, moved(there, order)).vertices, order)
