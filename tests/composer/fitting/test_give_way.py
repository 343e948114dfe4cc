"""At a finer level, lips that the level below has pushed through each other take the library's form again."""

from __future__ import annotations

import numpy as np

from composer.fitting.give_way import without_crossing
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.loops import Loops
from composer.geometry.polygons import Polygons
from composer.geometry.self_crossing import SelfCrossing
from composer.geometry.surface import Surface
from composer.head.levels import Refinement
from tests.demo_heads import neutral_head


def test_skin_that_crosses_before_and_after_a_level_is_parted_by_the_library_s_form() -> None:
    keeper = neutral_head("keeper")
    library = LibrarySkin.of(keeper)
    assert keeper.landmarks is not None
    at = library.surface.positions
    lower = keeper.landmarks.curve_positions("lower_lip", keeper.neutral)
    away = np.linalg.norm(at[:, None] - lower[None, ::4], axis=2).min(axis=1)
    below = at[:, 1] < lower[:, 1].max()
    pushed = at + np.where(below, 4.0 * np.exp(-0.5 * (away / 6.0) ** 2), 0.0)[:, None] * [0.0, 1.0, 0.0]
    step = Refinement(library.skin.polygons)
    ideal, crossed = step.apply(at), step.apply(pushed)
    test, loops = SelfCrossing(step.polygons), Loops(step.polygons, ideal)
    before = test.crossing_faces(crossed).sum()
    assert before > test.crossing_faces(ideal).sum() + 20
    every, surface = np.ones(len(ideal), dtype=bool), Surface(step.polygons, crossed)
    stays = without_crossing(surface, crossed, every, every, loops, 10.0)
    assert not stays.way.any() and np.array_equal(stays.positions, crossed)  # it crossed below too
    done = without_crossing(surface, crossed, every, every, loops, 10.0, ideal)
    parted, moved = done.positions, done.way
    np.testing.assert_array_equal(done.crossing, test.crossing_faces(parted))  # which CGAL judges elsewhere
    assert test.crossing_faces(parted).sum() < 0.5 * before
    assert loops.bad(parted).sum() <= loops.bad(crossed).sum()
    np.testing.assert_array_equal(parted[~moved], crossed[~moved])
    assert moved.sum() < 0.3 * len(moved)
    held = without_crossing(surface, crossed, every, ~every, loops, 10.0, ideal)
    np.testing.assert_array_equal(held.positions, crossed)
    assert held.crossing.sum() == before


ROWS, LONG = 14, 70


def long_bag() -> tuple[Polygons, np.ndarray]:
    """A flat bag, mm: two sheets of 14 by 70 vertices, 2 mm apart, 3 mm above each other, joined along a long side."""
    i = np.arange(2 * ROWS * LONG).reshape(2 * ROWS, LONG)
    quads = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1).reshape(-1, 4)
    row = np.arange(2 * ROWS)
    x = np.where(row < ROWS, row, 2 * ROWS - 1 - row) * 2.0
    z = np.where(row < ROWS, 0.0, 3.0)
    points = np.stack(np.broadcast_arrays(x[:, None], np.arange(LONG) * 2.0, z[:, None]), axis=-1)
    return Polygons(np.full(len(quads), 4), quads.ravel(), i.size), points.reshape(-1, 3).copy()


def test_two_crossings_far_from_each_other_are_parted_together_as_each_is_alone() -> None:
    polygons, rest = long_bag()
    surface, loops, every = Surface(polygons, rest), Loops(polygons, rest), np.ones(len(rest), dtype=bool)
    under = rest[:, 2] < 1.5
    ends = [
        np.where(under, deep * np.exp(-((rest[:, :2] - at) ** 2).sum(axis=1) / wide**2), 0.0)[:, None] * [0.0, 0.0, 1.0]
        for at, deep, wide in (((10.0, 20.0), 4.5, 3.0), ((8.0, 118.0), 6.0, 6.0))
    ]
    test = SelfCrossing(polygons)
    alone = [without_crossing(surface, rest + end, every, every, loops, 4.0, rest) for end in ends]
    both = without_crossing(surface, rest + ends[0] + ends[1], every, every, loops, 4.0, rest)
    half = rest[:, 1] < 70.0
    for near, end, one in zip((half, ~half), ends, alone, strict=True):
        assert test.crossing_faces(rest + end).sum() > test.crossing_faces(one.positions).sum()
        assert one.way[near].any() and not one.way[~near].any()
        np.testing.assert_allclose(both.positions[near], one.positions[near], rtol=0, atol=1e-9)
        np.testing.assert_array_equal(both.way[near], one.way[near])
