"""At a finer level, lips that the level below has pushed through each other take the library's form again."""

from __future__ import annotations

import numpy as np

from composer.fitting.give_way import without_crossing
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.loops import Loops
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
