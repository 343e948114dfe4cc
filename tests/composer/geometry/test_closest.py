"""Closest points on triangles and meshes: on paper, and against libigl and trimesh, whatever the triangles are like."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.errors import MoueError
from composer.geometry.closest import ClosestPoints
from composer.geometry.closest_on_triangle import closest_on_triangles
from composer.geometry.rigid import Similarity

seeds = st.integers(0, 2**32 - 1)
KINDS = ("plain", "needle", "collinear", "collapsed to a side", "collapsed to a point", "obtuse")


def triangles(kind: str, count: int, rng: np.random.Generator) -> np.ndarray:
    """(count, 3, 3) triangles of one kind, about 1 in size, their corners in any order."""
    a, b, c = rng.normal(size=(3, count, 3))
    along = rng.uniform(-0.5, 1.5, (count, 1))
    if kind == "needle":
        c = a + along * (b - a) + 10.0 ** rng.uniform(-13, -3, (count, 1)) * rng.normal(size=(count, 3))
    elif kind == "collinear":
        c = a + along * (b - a)
    elif kind == "collapsed to a side":
        c = b.copy()
    elif kind == "collapsed to a point":
        b, c = a.copy(), a.copy()
    elif kind == "obtuse":
        c = a + 0.01 * rng.normal(size=(count, 3)) - 3.0 * (b - a)
    corners = np.stack([a, b, c], axis=1)
    return np.take_along_axis(corners, rng.permuted(np.tile(np.arange(3), (count, 1)), axis=1)[..., None], axis=1)


@pytest.mark.parametrize("size", [1e-6, 1.0, 1e6])
@pytest.mark.parametrize("kind", KINDS)
def test_no_point_of_the_triangle_is_closer(kind: str, size: float) -> None:
    """The closest point p of a convex set to q is where (q - p) . (x - p) <= 0 for every x of it, its corners will do
    (the projection theorem: Boyd and Vandenberghe 2004, Convex Optimization, section 8.1)."""
    rng = np.random.default_rng(11)
    corners = size * triangles(kind, 4000, rng)
    points = size * rng.normal(size=(4000, 3)) * rng.choice([0.1, 1.0, 30.0], size=(4000, 1))
    bary, squared = closest_on_triangles(points, corners)
    assert bary.min() >= 0.0 and np.abs(bary.sum(axis=1) - 1.0).max() < 1e-12
    foot = np.einsum("ij,ijk->ik", bary, corners)
    off = points - foot
    np.testing.assert_allclose(np.sqrt(squared), np.linalg.norm(off, axis=1), atol=1e-13 * size * 30, rtol=1e-12)
    further = np.einsum("ij,ikj->ik", off, corners - foot[:, None])
    reach = np.linalg.norm(off, axis=1) * np.linalg.norm(corners - foot[:, None], axis=2).max(axis=1)
    assert (further.max(axis=1) <= 1e-12 * np.maximum(reach, size**2)).all()


@pytest.mark.parametrize("size", [1e-6, 1.0, 1e6])
@pytest.mark.parametrize("kind", ["plain", "obtuse"])
def test_sound_triangles_agree_with_trimesh(kind: str, size: float) -> None:
    """trimesh 5, triangles.closest_point (Ericson 2005, Real-Time Collision Detection, section 5.1.5)."""
    closest_point = pytest.importorskip("trimesh.triangles").closest_point
    rng = np.random.default_rng(3)
    corners, points = triangles(kind, 2000, rng), 2 * rng.normal(size=(2000, 3))
    bary, _ = closest_on_triangles(size * points, size * corners)
    np.testing.assert_allclose(np.einsum("ij,ijk->ik", bary, corners), closest_point(corners, points), atol=1e-9)


def test_on_paper() -> None:
    """The triangle (0,0) (4,0) (0,2) at z = 0, seen from above its inside, beyond each side and beyond each corner."""
    corner = np.array([[0.0, 0, 0], [4, 0, 0], [0, 2, 0]])
    points = np.array([[1.0, 0.5, 3], [2, -1, 0], [-2, 1, 0], [3, 3, 0], [-1, -1, 0], [9, -2, 0], [0, 5, 0]])
    foot = np.array([[1.0, 0.5, 0], [2, 0, 0], [0, 1, 0], [2, 1, 0], [0, 0, 0], [4, 0, 0], [0, 2, 0]])
    for turn in range(3):
        corners = np.roll(corner, turn, axis=0)
        bary, squared = closest_on_triangles(points, np.tile(corners, (7, 1, 1)))
        np.testing.assert_allclose(bary @ corners, foot, atol=1e-12)
        np.testing.assert_allclose(squared, ((points - foot) ** 2).sum(axis=1), atol=1e-12)
        assert (bary[1:] == 0.0).sum(axis=1).tolist() == [1, 1, 1, 2, 2, 2]


@settings(deadline=None, max_examples=40)
@given(seed=seeds, size=st.sampled_from([1e-6, 1.0, 1e6]), shift=st.sampled_from([0.0, 100.0]))
def test_any_soup_agrees_with_every_triangle_looked_at(seed: int, size: float, shift: float) -> None:
    """Against the least over all triangles: huge ones among tiny ones, needles, collapsed ones, duplicate vertices."""
    rng = np.random.default_rng(seed)
    kinds = [triangles(kind, 25, rng) * 10.0 ** rng.uniform(-3, 1, (25, 1, 1)) for kind in KINDS]
    corners = size * (np.concatenate([*kinds, kinds[0]]) + shift)
    points = size * (rng.normal(size=(60, 3)) * rng.choice([0.01, 1.0, 20.0], size=(60, 1)) + shift)
    positions, mesh = corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3)
    found = ClosestPoints(positions, mesh)(points)
    every = closest_on_triangles(
        np.repeat(points, len(corners), axis=0), np.tile(corners, (len(points), 1, 1))
    )[1].reshape(len(points), -1)
    np.testing.assert_allclose(found.squared, every.min(axis=1), rtol=1e-9, atol=1e-24 * (size * max(shift, 1)) ** 2)
    at = np.einsum("ij,ijk->ik", found.bary, corners[found.triangle])
    np.testing.assert_allclose(
        np.linalg.norm(points - at, axis=1), np.sqrt(found.squared), rtol=1e-9, atol=1e-12 * size * max(shift, 1)
    )


@settings(deadline=None, max_examples=25)
@given(seeds)
def test_a_mesh_agrees_with_libigl(seed: int) -> None:
    """libigl 2.6, point_mesh_squared_distance, on more triangles than a block and more points than a round."""
    igl = pytest.importorskip("igl")
    rng = np.random.default_rng(seed)
    positions = rng.normal(size=(200, 3)) * [1.0, 2.0, 0.3]
    mesh = np.array([rng.choice(200, 3, replace=False) for _ in range(400)])
    points = 2 * rng.normal(size=(int(rng.integers(1, 300)), 3))
    squared = igl.point_mesh_squared_distance(points, positions, mesh)[0]
    np.testing.assert_allclose(ClosestPoints(positions, mesh)(points).squared, squared, rtol=1e-9, atol=1e-18)


def test_more_points_than_one_round_and_long_triangles_among_small_ones() -> None:
    """A plane of unit squares with one triangle 1000 long beneath it: who is closer is known on paper."""
    x, y = np.meshgrid(np.arange(40.0), np.arange(40.0), indexing="ij")
    grid = np.stack([x.ravel(), y.ravel(), np.zeros(1600)], axis=1)
    corner = (np.arange(39)[:, None] * 40 + np.arange(39)).ravel()
    halves = [np.stack([corner, corner + a, corner + b], axis=1) for a, b in ((40, 41), (41, 1))]
    sheet = np.array([[-500.0, -500, -2], [500, -500, -2], [0, 900, -2]])
    positions, mesh = np.vstack([grid, sheet]), np.vstack([*halves, [1600, 1601, 1602]])
    points = np.random.default_rng(0).uniform([0, 0, -3], [39, 39, 3], (20_000, 3))
    found = ClosestPoints(positions, mesh)(points)
    above, below = np.abs(points[:, 2]), np.abs(points[:, 2] + 2.0)
    np.testing.assert_allclose(np.sqrt(found.squared), np.minimum(above, below), atol=1e-12)
    apart = np.abs(above - below) > 1e-9
    np.testing.assert_array_equal((found.triangle == len(mesh) - 1)[apart], (below < above)[apart])


@settings(deadline=None, max_examples=20)
@given(seeds)
def test_the_walk_finds_the_closest_point_of_a_single_sheet(seed: int) -> None:
    """A height field of long waves, asked near it: the walk and the search over every triangle agree."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(20.0), np.arange(20.0), indexing="ij")
    positions = np.stack([x.ravel(), y.ravel(), np.sin(0.5 * x + rng.uniform(0, 6)).ravel()], axis=1)
    corner = (np.arange(19)[:, None] * 20 + np.arange(19)).ravel()
    mesh = np.concatenate([np.stack([corner, corner + a, corner + b], axis=1) for a, b in ((20, 21), (21, 1))])
    inner = rng.integers(0, len(mesh), 100)
    points = np.einsum("ij,ijk->ik", rng.dirichlet([1, 1, 1], 100), positions[mesh[inner]])
    search = ClosestPoints(positions, mesh)
    points = points + 0.05 * rng.normal(size=points.shape)
    np.testing.assert_allclose(search.nearby(points).squared, search(points).squared, atol=1e-12)


def test_only_what_is_accepted_and_within_reach_is_found() -> None:
    positions = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, -2], [1, 0, -2], [0, 1, -2]])
    search = ClosestPoints(positions, [[0, 1, 2], [3, 4, 5]])
    points = np.array([[0.2, 0.2, 1.0], [0.2, 0.2, 1.0], [0.2, 0.2, 9.0]])
    found = search.within(points, [4.0, 2.0, 4.0], lambda place, triangle: triangle == 1)
    assert found.triangle.tolist() == [1, -1, -1]
    np.testing.assert_allclose(found.squared, [9.0, np.inf, np.inf])


def test_what_cannot_be_searched_is_refused() -> None:
    with pytest.raises(MoueError, match="no polygons"):
        ClosestPoints(np.zeros((3, 3)), np.zeros((0, 3)))
    with pytest.raises(MoueError, match="not a number"):
        ClosestPoints([[0.0, 0, 0], [1, 0, 0], [0, np.nan, 0]], [[0, 1, 2]])
    with pytest.raises(MoueError, match="point 1"):
        ClosestPoints(np.eye(3), [[0, 1, 2]])([[0.0, 0, 0], [np.inf, 0, 0]])
    assert len(ClosestPoints(np.eye(3), [[0, 1, 2]])(np.zeros((0, 3))).triangle) == 0


def test_no_points_have_no_closest_places() -> None:
    search = ClosestPoints(np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]), np.array([[0, 1, 2]]))
    for found in (search(np.zeros((0, 3))), search.nearby(np.zeros((0, 3)))):
        assert all(len(np.asarray(each)) == 0 for each in vars(found).values())


@settings(max_examples=10)
@given(seeds)
def test_within_a_reach_it_is_what_libigl_finds_and_beyond_it_nothing(seed: int) -> None:
    igl = pytest.importorskip("igl")
    rng = np.random.default_rng(seed)
    corners = rng.normal(size=(60, 1, 3)) + rng.uniform(0.05, 1.0, (60, 1, 1)) * rng.normal(size=(60, 3, 3))
    positions, numbers = corners.reshape(-1, 3), np.arange(180).reshape(-1, 3)
    points = 3.0 * rng.normal(size=(200, 3))
    squared = igl.point_mesh_squared_distance(points, positions, numbers)[0]
    reach = float(np.sqrt(np.median(squared)))
    found = ClosestPoints(positions, numbers)(points, reach)
    near = squared < reach**2 * (1.0 - 1e-9)
    far = squared > reach**2 * (1.0 + 1e-6)
    np.testing.assert_allclose(found.squared[near], squared[near], atol=1e-12)
    assert (found.triangle[near] >= 0).all() and (found.triangle[far] == -1).all()
    assert np.isinf(found.squared[far]).all()


@settings(max_examples=10)
@given(seeds)
def test_a_moved_mesh_is_searched_by_the_trees_of_the_mesh_that_stood_still(seed: int) -> None:
    igl = pytest.importorskip("igl")
    rng = np.random.default_rng(seed)
    positions, numbers = rng.normal(size=(90, 3)), np.arange(90).reshape(-1, 3)
    first, second = (
        Similarity(Rotation.random(rng=rng).as_matrix(), rng.normal(size=3), float(rng.uniform(0.2, 5.0)))
        for _ in range(2)
    )
    points = 3.0 * rng.normal(size=(50, 3))
    still = ClosestPoints(positions, numbers)
    for moved, there in ((still.moved(first), first(positions)),
                         (still.moved(first).moved(second), second(first(positions)))):  # fmt: skip
        squared = igl.point_mesh_squared_distance(points, there, numbers)[0]
        found = moved(points)
        np.testing.assert_allclose(found.squared, squared, rtol=1e-9, atol=1e-12)
        foot = np.einsum("ij,ijk->ik", found.bary, there[numbers[found.triangle]])
        np.testing.assert_allclose(((foot - points) ** 2).sum(axis=1), squared, rtol=1e-9, atol=1e-12)
        assert (moved.nearby(points).squared >= squared * (1 - 1e-9)).all()
