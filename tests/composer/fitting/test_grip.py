"""A piece of the cage in the hand: it stays on the sculpt, nothing far away moves, there and back again is nothing."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.bench.cube_sphere import cube_sphere
from composer.fitting.closest import ClosestSurface
from composer.fitting.grip import Grips, mirrored_shift
from composer.fitting.loops import Loops
from composer.geometry.edge_loop import edge_loop
from composer.geometry.half_edges import HalfEdges
from composer.geometry.polygons import Polygons
from composer.geometry.rigid import nearest_rotation
from composer.geometry.surface import Surface

RADIUS_MM = 100.0
AXES = np.array([0.8, 1.0, 0.9])


@cache
def ball() -> tuple[Polygons, np.ndarray, ClosestSurface, Grips]:
    """A cage on an egg, the egg itself much finer, and grips on the cage."""
    cage, at = cube_sphere(17)
    fine, places = cube_sphere(61, seed=0)
    egg = ClosestSurface(on_egg(places), fine.triangles)
    on = egg.closest(on_egg(at)).points
    return cage, on, egg, Grips(Surface(cage, on), egg, on_egg(at))


def on_egg(points: np.ndarray) -> np.ndarray:
    return RADIUS_MM * AXES * points / np.linalg.norm(points, axis=1, keepdims=True)


vertices = st.integers(0, 1000)
shifts = st.tuples(*[st.floats(-25.0, 25.0)] * 3).map(np.array)


@settings(max_examples=25, deadline=None)
@given(vertices, st.floats(2.0, 5.0), shifts)
def test_what_lay_on_the_sculpt_lies_on_it_and_no_face_turns_over(
    vertex: int, wide: float, shift: np.ndarray
) -> None:
    cage, on, egg, grips = ball()
    start = on[vertex % len(on)]
    shift = egg.closest([start + shift]).points[0] - start  # the pointer draws along the sculpt
    radius = wide * np.linalg.norm(shift) + 12.0
    grip = grips.vertex(vertex % len(on), radius)
    moved = grip.moved(shift)
    assert egg.closest(moved.positions).distance.max() < 1e-6
    after = on.copy()
    after[grip.held.vertices] = moved.positions
    assert not Loops(cage, on).bad(after).any()
    away = np.linalg.norm(on[grip.held.vertices] - on[vertex % len(on)], axis=1)
    assert away.max() < radius and 0.0 <= moved.share <= 1.0


@settings(max_examples=15, deadline=None)
@given(vertices, shifts)
def test_there_and_back_again_is_nothing(vertex: int, shift: np.ndarray) -> None:
    _, on, _, grips = ball()
    grip = grips.vertex(vertex % len(on), 40.0)
    grip.moved(shift)
    assert np.array_equal(grip.moved(np.zeros(3)).positions, on[grip.held.vertices])


def test_the_held_vertex_goes_where_it_is_drawn_and_others_less() -> None:
    _, on, egg, grips = ball()
    vertex = int(np.argmax(on[:, 2]))
    goal = egg.closest([on[vertex] + [6.0, 3.0, 0.0]]).points[0]
    grip = grips.vertex(vertex, 45.0)
    moved = grip.moved(goal - on[vertex])
    held = int(np.flatnonzero(grip.held.vertices == vertex)[0])
    np.testing.assert_allclose(moved.positions[held], goal, atol=1e-9)
    went = np.linalg.norm(moved.positions - on[grip.held.vertices], axis=1)
    assert moved.share == 1.0 and went.argmax() == held


def test_a_movement_that_would_turn_faces_over_goes_as_far_as_it_can() -> None:
    _, on, _, grips = ball()
    vertex = int(np.argmax(on[:, 2]))
    cage = ball()[0]
    grip = grips.vertex(vertex, 20.0)
    moved = grip.moved(np.array([60.0, 0.0, -20.0]))
    after = on.copy()
    after[grip.held.vertices] = moved.positions
    assert 0.0 < moved.share < 1.0 and not Loops(cage, on).bad(after).any()


def test_a_loop_that_is_drawn_across_itself_widens_on_every_side() -> None:
    cage, on, egg, grips = ball()
    mesh = HalfEdges(cage)
    first = int(np.argmin(np.linalg.norm(on - [0.0, 60.0, 70.0], axis=1)))
    loops = [edge_loop(mesh, int(c)) for c in mesh.corners_at(first)]
    line, closed = next((line, closed) for line, closed in loops if np.ptp(on[line][:, 1]) < 0.4 * np.ptp(on[:, 1]))
    held = int(np.flatnonzero(line == first)[0])
    grip = grips.loop(line, closed, held, 200.0)
    moved = grip.moved(np.array([0.0, -6.0, 3.0]))
    after = on.copy()
    after[grip.held.vertices] = moved.positions
    sank = on[line][:, 1] - after[line][:, 1]
    assert closed and (sank > 0).all() and moved.share == 1.0


def test_a_loop_moves_but_little_far_along_it() -> None:
    cage, on, _, grips = ball()
    mesh = HalfEdges(cage)
    first = int(np.argmax(on[:, 2]))
    line, closed = edge_loop(mesh, int(mesh.corners_at(first)[0]))
    held = int(np.flatnonzero(line == first)[0])
    grip = grips.loop(line, closed, held, 12.0)
    reach = np.linalg.norm(on[grip.held.vertices] - on[first], axis=1)
    assert 12.0 < reach.max() <= 3.0 * 12.0 + 12.0


def test_vertices_that_are_held_fast_stay() -> None:
    cage, on, egg, _ = ball()
    fixed = on[:, 0] > 0
    grip = Grips(Surface(cage, on), egg, on, fixed).vertex(int(np.argmax(on[:, 2])), 50.0)
    assert not fixed[grip.held.vertices].any() and len(grip.held.vertices)


@settings(max_examples=20, deadline=None)
@given(shifts, st.integers(0, 2**31))
def test_a_mirrored_shift_is_the_one_that_a_mirror_shows(shift: np.ndarray, seed: int) -> None:
    turn, _ = nearest_rotation(np.random.default_rng(seed).normal(size=(3, 3)))
    twice = mirrored_shift(mirrored_shift(shift, turn), turn)
    np.testing.assert_allclose(twice, shift, atol=1e-9)
    np.testing.assert_allclose(mirrored_shift(shift, np.eye(3)), shift * [-1, 1, 1])
    side = turn @ np.array([1.0, 0.0, 0.0])
    assert mirrored_shift(shift, turn) @ side == pytest.approx(-(shift @ side), abs=1e-9)
