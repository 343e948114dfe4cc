"""How wide a border's ramp is: a motion that goes from one level to the other in ten millimetres, on a strip."""

from __future__ import annotations

import numpy as np
import pytest

from masks.border_ramps import Territories, half_ramps, widest
from masks.from_groups import from_faces, from_vertices
from tests.masks.surfaces import plane

X = np.arange(-19.875, 20.0, 0.25)
N = len(X)
REACH = 20.0


def strip(count: int = N) -> Territories:
    """Region 0 left of 0, region 1 right of it; only `count` vertices in the middle belong to one."""
    owner = np.where(X < 0, 0, 1)
    owner[np.abs(np.arange(N) - (N - 1) / 2) > count / 2] = -1
    away = np.stack([np.maximum(X, 0.0), np.maximum(-X, 0.0)])
    sides = [np.flatnonzero(owner == side) for side in (0, 1)]
    return Territories(sides, away, owner, np.arange(2), None, REACH)


def half(amounts: np.ndarray, softness: float = 1.0, count: int = N, mass: float = 10.0, floor: float = 0.5) -> float:
    return float(half_ramps(strip(count), amounts, np.full(N, mass), floor, 100.0, softness)[1, 0])


def rise(width: float, level: float = 5.0) -> np.ndarray:
    return level * np.clip(X / width + 0.5, 0.0, 1.0)


@pytest.mark.parametrize("width", [6.0, 10.0, 14.0])
def test_a_motion_s_range_over_its_steepest_slope(width: float) -> None:
    assert half(rise(width)[None]) == pytest.approx(width, rel=0.1)
    assert half(rise(width)[None], softness=0.5) == pytest.approx(width / 2, rel=0.1)
    assert half(-3.0 * rise(width)[None]) == pytest.approx(width, rel=0.1)


def test_of_several_shapes_the_median_counts_and_what_does_not_move_says_nothing() -> None:
    amounts = np.stack([rise(6.0), rise(10.0), rise(14.0), 0.0 * X])
    assert half(amounts) == pytest.approx(10.0, rel=0.1)


def test_a_border_of_few_vertices_or_without_motion_has_no_ramp() -> None:
    assert half(rise(10.0)[None], count=8) == 0.0
    assert half(0.0 * X[None]) == 0.0


def test_no_ramp_is_wider_than_the_smaller_region_allows_nor_narrower_than_the_floor() -> None:
    assert half(rise(10.0)[None], mass=0.1) == pytest.approx(0.9 * np.sqrt(0.1 * N / 2))
    assert half(rise(2.0)[None], softness=0.1, floor=3.0) == 3.0
    assert widest(strip(), np.full(N, 100.0), 0.5)[0, 1] == REACH


def test_ramps_are_alike_on_both_sides() -> None:
    found = half_ramps(strip(), rise(10.0)[None], np.full(N, 10.0), 0.5, 100.0)
    np.testing.assert_array_equal(found, found.T)
    assert not np.diag(found).any()


def test_vertices_and_polygons_without_and_with_a_ramp() -> None:
    surface = plane(9, 9)
    chosen = np.arange(36)  # rows 0 to 3
    hard = from_vertices(surface, chosen)
    np.testing.assert_array_equal(hard, np.where(np.arange(81) < 36, 1.0, 0.0))
    soft = from_vertices(surface, chosen, 3.0).reshape(9, 9)[:, 4]
    assert soft[0] == 1.0 and soft[8] == 0.0 and 0.0 < soft[4] < 0.5 < soft[3] < 1.0
    faces = np.arange(24)  # three rows of quads, so rows 0 to 3 of vertices
    np.testing.assert_array_equal(from_faces(surface, faces), hard)
    edge = from_faces(surface, faces, 4.0).reshape(9, 9)[:, 4]
    assert edge[3] == pytest.approx(0.5, abs=0.05) and edge[2] > 0.5 > edge[4]
