"""Barriers on small grids whose sides and ways can be seen at a glance."""

from __future__ import annotations

import numpy as np
import pytest

from composer.geometry.barriers import Barriers
from composer.geometry.marching import Marching
from composer.geometry.surface import Surface
from tests.small_heads import grid


def flat(rows: int, columns: int) -> Surface:
    y, x = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    return Surface(grid(rows, columns), np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1).astype(float))


def test_a_vertex_on_two_sides_is_on_none() -> None:
    # Two lines in columns 1 and 3: column 2 lies right of the one and left of the other.
    surface = flat(5, 5)
    column = np.arange(5) * 5
    sides = Barriers(surface, [column + 1, column + 3], reach_mm=1.5).sides.reshape(5, 5)
    assert (sides[1:-1, 2] == 0).all()
    assert (sides[1:-1, 0] > 0).all() and (sides[1:-1, 4] > 0).all()
    assert sides[2, 0] != sides[2, 4]


def test_a_line_between_two_faces_parts_them() -> None:
    surface = flat(5, 4)
    sides = Barriers(surface, [np.arange(5) * 4 + 1], reach_mm=1.5).sides.reshape(5, 4)
    assert len(set(sides[1:-1, 0])) == 1 and len(set(sides[1:-1, 2])) == 1
    assert sides[2, 0] != sides[2, 2] and sides[2, 0] > 0 and sides[2, 2] > 0


def test_no_front_passes_through_an_edge_whose_ends_are_blocked() -> None:
    # A wall across the whole grid: behind it nothing is reached, whichever kind of front comes.
    surface = flat(6, 9)
    wall = np.zeros(54, dtype=bool)
    wall[np.arange(6) * 9 + 4] = True
    marching = Marching(surface, wall)
    one = marching.from_vertices([0])
    line = marching.from_vertices(np.arange(6) * 9)
    behind = np.tile(np.arange(9) > 4, 6)
    assert np.isinf(one[behind]).all() and np.isinf(line[behind]).all()
    assert np.isfinite(one[~behind]).all()
    np.testing.assert_allclose(line.reshape(6, 9)[:, :5], np.tile(np.arange(5.0), (6, 1)), atol=1e-9)


@pytest.mark.parametrize("turned", range(4))
@pytest.mark.parametrize("flipped", [False, True])
def test_a_front_goes_round_the_end_of_a_wall(turned: int, flipped: bool) -> None:
    # Around the corner at (4, 4): from (0, 0) to (8, 0) the way is twice the hypotenuse of 4 and 4, by Pythagoras.
    surface = flat(9, 9)
    numbers = np.rot90(np.arange(81).reshape(9, 9), turned)
    numbers = numbers[:, ::-1] if flipped else numbers
    wall = np.zeros(81, dtype=bool)
    wall[numbers[:4, 4]] = True
    distance = Marching(surface, wall).from_vertices([numbers[0, 0]])[numbers[0, 8]]
    assert 2 * np.hypot(4, 4) - 1e-6 <= distance <= 1.06 * 2 * np.hypot(4, 4)
