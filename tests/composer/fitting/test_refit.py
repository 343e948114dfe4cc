"""A warm refit: only what is near changes, the landmarks are reached, the skin stays on the sculpt and whole."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.bench.cube_sphere import cube_sphere
from composer.fitting.align import Pairs
from composer.fitting.bound_parts import take_along
from composer.fitting.closest import ClosestSurface
from composer.fitting.curves import on_polyline
from composer.fitting.loops import Loops
from composer.fitting.refit import MOST_RADIUS, refit
from composer.geometry.edge_loop import edge_loop
from composer.geometry.half_edges import HalfEdges
from composer.geometry.rigid import nearest_rotation
from composer.head.head import Head, Part

AXES = np.array([80.0, 100.0, 90.0])
NOBODY = Pairs((), np.empty((0, 3)), np.empty((0, 3)), np.empty(0, dtype=np.int64), {})
NOBODY_SIDES = (NOBODY.head, NOBODY.sculpt, NOBODY.vertices)


@cache
def fitted() -> tuple[Head, np.ndarray, ClosestSurface]:
    """A library's head, its cage as it was fitted onto an egg, and the egg."""
    cage, at = cube_sphere(15)
    fine, places = cube_sphere(51, seed=0)
    unit = [each / np.linalg.norm(each, axis=1, keepdims=True) for each in (at, places)]
    egg = ClosestSurface(AXES * unit[1], fine.triangles)
    return Head("cage", cage, 95.0 * unit[0]), egg.closest(AXES * unit[0]).points, egg


def points(vertices: list[int], places: np.ndarray) -> Pairs:
    head, _, _ = fitted()
    ids = np.array(vertices)
    return Pairs(tuple(map(str, vertices)), head.neutral[ids], places, ids, {})


def beside(vertex: int, way: np.ndarray) -> np.ndarray:
    """A place of the egg beside the one where a vertex lies."""
    _, cage, egg = fitted()
    return egg.closest(cage[[vertex]] + way).points


ways = st.tuples(*[st.floats(-6.0, 6.0)] * 3).map(np.array)
chosen = st.integers(0, 1200)


@settings(max_examples=20, deadline=None)
@given(chosen, ways)
def test_what_is_far_stays_bit_for_bit_and_the_landmark_is_reached(vertex: int, way: np.ndarray) -> None:
    head, cage, egg = fitted()
    goal = beside(vertex, way)
    result = refit(head, cage, egg, points([vertex], goal))
    assert np.array_equal(result.positions[~result.near], cage[~result.near])
    reach = np.linalg.norm(cage[result.near] - cage[vertex], axis=1).max()
    assert reach <= MOST_RADIUS * np.linalg.norm(np.ptp(cage, axis=0))
    assert np.linalg.norm(result.positions[vertex] - goal) <= 0.02 * np.linalg.norm(cage[vertex] - goal) + 0.02
    assert egg.closest(result.positions).distance.max() < 1e-6
    assert not Loops(head.polygons, cage).bad(result.positions).any()


@settings(max_examples=8, deadline=None)
@given(chosen, ways, st.integers(0, 2**31))
def test_a_turned_sculpt_gives_the_turned_refit(vertex: int, way: np.ndarray, seed: int) -> None:
    head, cage, egg = fitted()
    goal = beside(vertex, way)
    turn, _ = nearest_rotation(np.random.default_rng(seed).normal(size=(3, 3)))
    plain = refit(head, cage, egg, points([vertex], goal))
    turned_egg = ClosestSurface(egg.positions @ turn.T, egg.triangles)
    turned = refit(head, cage @ turn.T, turned_egg, points([vertex], goal @ turn.T))
    np.testing.assert_allclose(turned.positions, plain.positions @ turn.T, atol=1e-3)


def test_without_anything_asked_nothing_changes() -> None:
    head, cage, egg = fitted()
    result = refit(head, cage, egg, NOBODY)
    assert result.positions is cage and not result.near.any()


def test_places_slide_along_a_drawn_curve() -> None:
    head, cage, egg = fitted()
    first = int(np.argmax(cage[:, 2]))
    mesh = HalfEdges(head.polygons)
    line = edge_loop(mesh, int(mesh.corners_at(first)[0]))[0]
    at = int(np.flatnonzero(line == first)[0])
    line = np.roll(line, 4 - at)[:9]
    out = np.cross(cage[line[-1]] - cage[line[0]], [0.0, 0.0, 1.0])
    drawn = egg.closest(cage[line] + 5.0 * out / np.linalg.norm(out)).points
    result = refit(head, cage, egg, Pairs((), *NOBODY_SIDES, {"lip": (head.neutral[line], drawn, line)}))
    on, _ = on_polyline(result.positions[line], drawn)
    assert np.linalg.norm(on - result.positions[line], axis=1).max() < 0.15
    assert result.away_mm[0] > 4.0 and result.away_mm[1] < 0.1


def test_what_is_held_stays_bit_for_bit() -> None:
    head, cage, egg = fitted()
    vertex = int(np.argmax(cage[:, 2]))
    hold = (cage[:, 0] > cage[vertex, 0]).astype(float)
    result = refit(head, cage, egg, points([vertex], beside(vertex, np.array([-4.0, 0.0, 0.0]))), hold=hold)
    assert np.array_equal(result.positions[hold > 0], cage[hold > 0])
    assert result.near.any() and not result.near[hold > 0].any()


def test_what_does_not_follow_the_sculpt_is_carried_by_its_surroundings() -> None:
    head, cage, egg = fitted()
    vertex = int(np.argmax(cage[:, 2]))
    free = (np.linalg.norm(cage - cage[vertex], axis=1) < 20.0).astype(float)
    sunk = cage - 6.0 * free[:, None] * [0.0, 0.0, 1.0]
    goal = sunk[[vertex]] + [5.0, 0.0, 0.0]
    result = refit(head, sunk, egg, points([vertex], goal), free=free)
    assert np.linalg.norm(result.positions[vertex] - goal) < 0.2  # not drawn onto the egg, 6 mm away
    assert egg.closest(result.positions[free > 0]).distance.min() > 2.0


@pytest.mark.parametrize("follows, moves", [("surface", True), ("skull", False)])
def test_a_part_that_is_bound_to_the_skin_goes_along_and_no_other(follows: str, moves: bool) -> None:
    head, cage, _ = fitted()
    lash = np.array([5, 6], dtype=np.int32)
    with_lash = head.with_(parts=(Part("lashes", lash, follows=follows),))
    after = cage + [1.0, 2.0, 3.0]
    after[lash] = cage[lash]
    way = take_along(with_lash, cage, after) - cage
    np.testing.assert_allclose(way[lash], [[1.0, 2.0, 3.0]] * 2 if moves else np.zeros((2, 3)), atol=1e-9)
    np.testing.assert_allclose(way[7:], np.tile([1.0, 2.0, 3.0], (len(cage) - 7, 1)), atol=1e-9)
