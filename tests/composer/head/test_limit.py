"""Limits of a border: the mask 2/3, 1/6, 1/6 (Halstead, Kass and DeRose 1993; from memory) and corners that stay."""

from __future__ import annotations

import numpy as np
import pytest

from composer.head.levels import levels, refine
from composer.head.rules import RuledRefinement, ruled_levels
from tests.small_heads import grid


@pytest.mark.parametrize("vertex", [1, 2, 3])
def test_a_border_vertex_goes_where_the_mask_says(vertex: int) -> None:
    points = np.random.default_rng(vertex).normal(size=(20, 3))
    limit = 2 / 3 * points[vertex] + (points[vertex - 1] + points[vertex + 1]) / 6
    np.testing.assert_allclose(refine(points, levels(grid(4, 5), 8))[vertex], limit, atol=1e-4)


def test_corners_stay_by_the_other_rule_and_nothing_else_of_the_border_changes() -> None:
    points = np.random.default_rng(0).normal(size=(20, 3))
    smooth, ruled = levels(grid(4, 5), 1)[0].apply(points), RuledRefinement(grid(4, 5)).apply(points)
    corners = [0, 4, 15, 19]
    np.testing.assert_array_equal(ruled[corners], points[corners])
    others = np.setdiff1d(np.arange(len(smooth)), corners)
    np.testing.assert_allclose(ruled[others], smooth[others], atol=1e-15)
    np.testing.assert_allclose(refine(points, ruled_levels(grid(4, 5), 3, True))[corners], points[corners], atol=1e-15)
    low = RuledRefinement(grid(4, 5)).apply(points.astype(np.float32))
    assert low.dtype == np.float32
    np.testing.assert_allclose(low, ruled, atol=1e-6)
