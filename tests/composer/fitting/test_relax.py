"""Relaxing and opening folds: the terms of it on neighbourhoods that can be drawn on paper."""

from __future__ import annotations

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.fitting.closest import ClosestSurface
from composer.fitting.loops import Loops
from composer.fitting.open_folds import _away_from_edge, _patches, heal
from composer.fitting.reference_shape import ReferenceShape
from composer.fitting.relax import relax
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from tests.small_heads import grid, random_rotation


def sheet(side: int = 7) -> np.ndarray:
    y, x = np.meshgrid(np.arange(float(side)), np.arange(float(side)), indexing="ij")
    return np.stack([x.ravel(), y.ravel(), 0.02 * (x * y).ravel()], axis=1)


@pytest.mark.parametrize("size", [0.1, 1.0, 30.0])
def test_a_similar_copy_of_the_reference_wants_to_stay(size: float) -> None:
    reference = sheet()
    points = size * reference @ random_rotation(np.random.default_rng(4)).T + [5.0, -3.0, 2.0]
    moving = np.arange(10, 30)
    shape = ReferenceShape(Surface(grid(7, 7), reference), moving, np.full(len(moving), 0.6))
    np.testing.assert_allclose(shape.step(points), points[moving], atol=1e-9 * size)


def test_an_edge_weighs_the_same_from_both_ends() -> None:
    shape = ReferenceShape(Surface(grid(4, 4), sheet(4)), np.arange(16), np.ones(16))
    stiff = shape.stiff.toarray()
    np.testing.assert_allclose(stiff, stiff.T, rtol=1e-15)
    np.testing.assert_allclose(stiff.sum(axis=1), 0.0, atol=1e-15)
    assert -stiff[0, 1] == pytest.approx(0.5 * (1 / 2 + 1 / 3))  # the mean of one over the number of edges at each end


def test_one_vertex_goes_between_its_place_and_its_neighbourhood_s_as_the_weights_say() -> None:
    # The middle of a flat cross is lifted by 1: its four edges (weight w each) want it at 0, `stay` holds it at 1.
    reference = sheet(3) * [1.0, 1.0, 0.0]
    shape = ReferenceShape(Surface(grid(3, 3), reference), np.array([4]), np.array([1e9]))
    lifted = reference + np.where(np.arange(9)[:, None] == 4, [0.0, 0.0, 1.0], 0.0)
    np.testing.assert_allclose(shape.step(lifted), lifted[[4]], atol=1e-6)
    free = ReferenceShape(Surface(grid(3, 3), reference), np.array([4]), np.array([1e-9]))
    assert abs(free.step(lifted)[0, 2]) < 0.5


def test_what_lies_beyond_reach_of_the_sculpt_stays() -> None:
    polygons, unit = cube_sphere(5, seed=1)
    points = 100.0 * unit / np.linalg.norm(unit, axis=1)[:, None]
    away = ClosestSurface(1.2 * points, polygons.triangles)  # 20 mm, of 400: five percent
    np.testing.assert_array_equal(relax(polygons, points, away, unit, rounds=1), points)


def test_the_vector_from_an_edge_to_the_middle_of_the_rest_of_its_polygons() -> None:
    polygons = Polygons.from_faces([[0, 1, 2, 3], [1, 0, 4]], 5)
    points = np.array([[0.0, 0, 0], [4, 0, 0], [5, 2, 0], [-1, 3, 0], [1, -2, 1]])
    vertex, which, off = _away_from_edge(polygons, points, np.array([0, 1]), np.array([[0, 1], [0, 1]]))
    assert vertex.tolist() == [2, 3, 4] and which.tolist() == [0, 0, 1]
    np.testing.assert_allclose(off, [[0, 2.5, 0], [0, -2, 1]], atol=1e-12)


def test_only_pieces_that_hold_a_seed_are_patches() -> None:
    flags, seeds = np.zeros(25, dtype=bool), np.zeros(25, dtype=bool)
    flags[[0, 1, 23, 24]] = seeds[[1, 12]] = True
    assert [np.flatnonzero(each).tolist() for each in _patches(grid(5, 5), flags, seeds)] == [[0, 1]]


def test_healing_opens_a_turned_face_and_leaves_what_is_fixed_and_far() -> None:
    reference, polygons = sheet(9), grid(9, 9)
    loops, middle = Loops(polygons, reference), 40
    folded = reference.copy()
    folded[middle, 0] += 1.6  # past its neighbour
    assert loops.bad(folded).any()
    healed = heal(polygons, folded, loops, reference)
    assert not loops.bad(healed).any()
    far = np.abs(reference[:, :2] - reference[middle, :2]).max(axis=1) > 3
    np.testing.assert_array_equal(healed[far], folded[far])
    np.testing.assert_array_equal(heal(polygons, folded, loops, reference, np.ones(81, dtype=bool)), folded)
