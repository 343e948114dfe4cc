"""Barriers on small grids whose sides and ways can be seen at a glance."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from composer.geometry.barriers import Barriers, edge_path
from composer.geometry.marching import Marching
from composer.geometry.polygons import Polygons
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


def test_inside_and_outside_of_a_closed_line() -> None:
    # A square of 8 vertices about the middle of 9 x 9: its inside is one vertex, and there is no way round an end.
    surface = flat(9, 9)
    ring = [30, 31, 32, 41, 50, 49, 48, 39, 30]
    barriers = Barriers(surface, [ring], reach_mm=20.0)
    sides = barriers.sides.reshape(9, 9)
    inside, outside = int(sides[4, 4]), int(sides[0, 0])
    assert {inside, outside} == {1, 2}
    sides[3:6, 3:6] = outside
    assert (sides == outside).all()
    assert np.flatnonzero(barriers.blocked).tolist() == sorted(ring[:-1])


def test_each_line_has_two_sides_of_its_own_and_none_beyond_its_ends() -> None:
    surface = flat(9, 15)
    column = np.arange(9) * 15
    sides = Barriers(surface, [column[2:7] + 3, column[2:7] + 11], reach_mm=2.5).sides.reshape(9, 15)
    assert set(sides[4, 1:3]) | set(sides[4, 4:6]) == {1, 2} and set(sides[4, 9:11]) | set(sides[4, 12:14]) == {3, 4}
    assert len(set(sides[3:6, 2])) == 1 and len(set(sides[3:6, 4])) == 1
    assert not sides[:, 7].any()  # out of the reach of both
    assert not sides[[0, 1, 7, 8], 3].any()  # straight on from an end


def test_gaps_are_bridged_along_edges_and_what_is_not_there_is_refused() -> None:
    surface = flat(3, 6)
    assert edge_path(surface, [0, 1, 1, 2]).tolist() == [0, 1, 2]
    assert edge_path(surface, [6, 9, 10]).tolist() == [6, 7, 8, 9, 10]
    assert edge_path(surface, [10, 9, 6]).tolist() == [10, 9, 8, 7, 6]
    assert edge_path(surface, [6, 9, 6]).tolist() == [6, 7, 8, 9, 8, 7, 6]
    way = edge_path(surface, [1, 7, 3])  # up an edge, and back over three to what is no neighbour
    assert way[:2].tolist() == [1, 7] and way[-1] == 3 and len(way) == 5
    for bad in ([3], [0, 18], [-1, 2]):
        with pytest.raises(MoueError):
            edge_path(surface, bad)
    apart = Surface(Polygons.from_faces([[0, 1, 2], [3, 4, 5]], 6), np.random.default_rng(0).normal(size=(6, 3)))
    with pytest.raises(MoueError, match="from vertex 0 to vertex 4"):
        edge_path(apart, [0, 4])
