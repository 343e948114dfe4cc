"""Triangles through triangles, against linear programming and by hand."""

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from composer.geometry.polygons import Polygons
from composer.geometry.self_crossing import SelfCrossing
from composer.geometry.self_intersection import candidate_pairs, cross, crossing_pairs


def own_pairs(points, triangles):
    """The pairs of triangles of one mesh that cross."""
    return SelfCrossing(Polygons(np.full(len(triangles), 3), np.ravel(triangles), len(points))).pairs(points)


def have_a_common_point(one, other, shrink):
    """Whether two triangles, shrunk about their centres, share a point: a linear program in their
    barycentrics.
    """
    one = one.mean(0) + shrink * (one - one.mean(0))
    other = other.mean(0) + shrink * (other - other.mean(0))
    equal = np.zeros((5, 6))
    equal[:3, :3], equal[:3, 3:] = one.T, -other.T
    equal[3, :3] = equal[4, 3:] = 1.0
    answer = linprog(np.zeros(6), A_eq=equal, b_eq=[0, 0, 0, 1, 1], bounds=(0, 1), method="highs")
    return answer.status == 0


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**31 - 1))
def test_crossing_is_sharing_a_point(seed):
    one, other = np.random.default_rng(seed).uniform(-1.0, 1.0, (2, 3, 3))
    surely, perhaps = have_a_common_point(one, other, 0.999), have_a_common_point(one, other, 1.001)
    assume(surely == perhaps)  # leave out pairs that only just touch
    assert bool(cross(one[None], other[None])[0]) == surely


def test_touching_and_lying_in_one_plane_are_not_crossing():
    flat = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    same_plane = flat + [0.1, 0.1, 0.0]
    tip_on_it = np.array([[0.2, 0.2, 0.0], [0.2, 0.2, 1.0], [0.3, 0.2, 1.0]])
    assert not cross(np.array([flat, flat]), np.array([same_plane, tip_on_it])).any()


@given(st.integers(0, 2**31 - 1), st.integers(1, 40), st.integers(1, 40))
@settings(max_examples=40, deadline=None)
def test_the_grid_lets_through_exactly_the_overlapping_boxes(seed, s, t):
    random = np.random.default_rng(seed)
    ones = random.uniform(-1, 1, (s, 1, 3)) + random.uniform(-0.4, 0.4, (s, 3, 3))
    others = random.uniform(-1, 1, (t, 1, 3)) + random.uniform(-0.4, 0.4, (t, 3, 3))
    meet = (ones.max(1)[:, None] >= others.min(1)[None]) & (ones.min(1)[:, None] <= others.max(1)[None])
    np.testing.assert_array_equal(candidate_pairs(ones, others), np.argwhere(meet.all(axis=2)))


def test_a_closed_ball_does_not_cross_itself_and_two_overlapping_balls_do():
    import trimesh

    ball = trimesh.creation.icosphere(subdivisions=2)
    assert not len(own_pairs(ball.vertices, ball.faces))
    points = np.concatenate([ball.vertices, ball.vertices + [1.2, 0.1, 0.05]])
    second = np.array(ball.faces) + len(ball.vertices)
    pairs = crossing_pairs(points, ball.faces, second)
    assert len(pairs) > 10
    # Each crossing triangle has a corner inside the other ball and one outside, or cuts it with an edge: its
    # plane's distance from the other's centre is below the radius.
    centres = points[second[pairs[:, 1]]].mean(axis=1)
    assert (np.abs(np.linalg.norm(centres, axis=1) - 1.0) < 0.35).all()
    assert len(own_pairs(points, np.concatenate([ball.faces, second]))) == len(pairs)
