"""Smooth areas of a subdivided mesh are passed over, and nothing that crosses is: against CGAL, against every pair."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.blocks import blocks_of
from composer.geometry.flat_blocks import FlatBlocks
from composer.geometry.part import chosen_polygons
from composer.geometry.polygons import Polygons
from composer.geometry.self_crossing import SelfCrossing
from composer.geometry.self_intersection import own_candidate_pairs
from composer.head.levels import levels, refine
from tests.composer.geometry.test_self_crossing import bumpy, cgal_faces


def every_pair(test: SelfCrossing, points: np.ndarray) -> list[list[int]]:
    """What crosses among all pairs whose boxes meet, without a look at blocks."""
    return test.crossing_of(points, own_candidate_pairs(points[test.triangles])).tolist()


def finer(polygons: Polygons, points: np.ndarray, level: int, seed: int, noise: float) -> tuple[Polygons, np.ndarray]:
    """A mesh subdivided and shaken, the less the finer it is."""
    steps = levels(polygons, level)
    shaken = np.random.default_rng(seed).normal(0.0, noise / 2**level, (steps[-1].n_vertices, 3))
    return steps[-1].polygons, refine(points, steps) + shaken


@settings(max_examples=8)
@given(st.integers(0, 2**31 - 1), st.integers(1, 3), st.floats(0.0, 0.25), st.floats(0.1, 1.2))
def test_what_crosses_is_what_every_pair_tells(seed: int, level: int, noise: float, height: float) -> None:
    polygons, points = finer(*bumpy(seed, height), level, seed, noise)
    test = SelfCrossing(polygons)
    assert test.pairs(points).tolist() == every_pair(test, points)


@settings(max_examples=6)
@given(st.integers(0, 2**31 - 1), st.floats(0.3, 0.9))
def test_a_crumpled_sheet_crosses_where_cgal_says(seed: int, height: float) -> None:
    polygons, points = finer(*bumpy(seed, height), 2, seed, 0.05)
    ours = SelfCrossing(polygons).crossing_faces(points)
    np.testing.assert_array_equal(np.flatnonzero(ours), cgal_faces(polygons, points))


def test_a_smooth_sheet_leaves_hardly_a_pair() -> None:
    polygons, points = finer(*bumpy(3, 0.1), 3, 3, 0.01)
    met = len(own_candidate_pairs(points[polygons.triangles]))
    assert len(FlatBlocks(polygons).pairs(points)) < 0.1 * met  # only about the open border, which nothing lies round


def twice_round(turns: int) -> tuple[Polygons, np.ndarray]:
    """Quads that go `turns` times round one vertex, rising, and come back to the first through the others."""
    count = 5 * turns
    angle = 2 * np.pi * turns * np.arange(2 * count) / (2 * count)
    rise = 0.05 * np.sin(angle / turns + 0.7)
    ring = np.stack([np.cos(angle), np.sin(angle), rise], axis=1)
    ring[1::2] *= 1.3
    quads = [[0, 1 + 2 * i, 2 + 2 * i, 1 + (2 * i + 2) % (2 * count)] for i in range(count)]
    return Polygons.from_faces(quads, 2 * count + 1), np.concatenate([np.zeros((1, 3)), ring])


@pytest.mark.parametrize("level", [1, 2])
def test_a_fan_that_goes_round_twice_is_no_sheet(level: int) -> None:
    for turns in (1, 2):
        polygons, points = finer(*twice_round(turns), level, 0, 0.0)
        test = SelfCrossing(polygons)
        crossing = test.pairs(points)
        assert crossing.tolist() == every_pair(test, points)
        assert bool(len(crossing)) == (turns == 2)


def test_blocks_are_those_of_the_levels_and_end_where_a_quad_is_missing() -> None:
    polygons, _ = bumpy(1)
    fine = levels(polygons, 2)[-1].polygons
    steps = blocks_of(fine)
    assert [len(each.corners) for each in steps] == [fine.n_faces, fine.n_faces // 4, polygons.n_faces]
    np.testing.assert_array_equal(steps[2].corners, polygons.indices.reshape(-1, 4))
    assert all(each.whole.all() for each in steps)
    missing = np.arange(fine.n_faces) != 5
    assert len(blocks_of(chosen_polygons(fine, missing))) == 1
    triangles = Polygons(np.full(2, 3), np.array([0, 1, 2, 2, 1, 3]), 4)
    assert blocks_of(triangles) == []


def test_blocks_with_a_slit_inside_are_not_whole() -> None:
    polygons, _ = bumpy(1)
    fine = levels(polygons, 2)[-1].polygons
    indices = fine.indices.reshape(-1, 4).copy()
    centre = int(indices[1, 3])  # a middle between two quads of the first block of four
    indices[1, 3] = fine.n_vertices
    torn = Polygons(fine.counts, indices.ravel(), fine.n_vertices + 1)
    assert centre != fine.n_vertices
    steps = blocks_of(torn)
    assert len(steps) == 1 or not steps[-1].whole[0]
