"""The rigid and the similarity fit: against scipy's alignment, planted motions, and points that leave it open."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.geometry.common_motion import common_motion, without_head_motion
from composer.geometry.rigid import axis_and_angle, is_determined, nearest_rotation, similarity

seeds = st.integers(0, 2**32 - 1)


def planted(rng: np.random.Generator) -> np.ndarray:
    return Rotation.random(random_state=np.random.RandomState(int(rng.integers(2**31)))).as_matrix()


@settings(deadline=None, max_examples=60)
@given(seeds)
def test_the_best_rotation_is_scipys(seed: int) -> None:
    # scipy.spatial.transform.Rotation.align_vectors solves the same weighted problem (Wahba 1965) for rotations.
    rng = np.random.default_rng(seed)
    source, weight = rng.normal(size=(12, 3)), rng.random(12)
    planted = Rotation.random(random_state=np.random.RandomState(seed % 2**31)).as_matrix()
    target = source @ planted.T + 0.2 * rng.normal(size=(12, 3)) + rng.normal(size=3)
    motion = similarity(source, target, weight, scaled=False)
    middle, goal = np.average(source, axis=0, weights=weight), np.average(target, axis=0, weights=weight)
    expected, _ = Rotation.align_vectors(target - goal, source - middle, weights=weight)
    np.testing.assert_allclose(motion.rotation, expected.as_matrix(), atol=1e-9)
    np.testing.assert_allclose(motion(middle), goal, atol=1e-12)


def test_a_reflection_is_never_the_answer() -> None:
    source = np.random.default_rng(0).normal(size=(20, 3))
    motion = similarity(source, source * [-1, 1, 1], scaled=False)
    np.testing.assert_allclose(np.linalg.det(motion.rotation), 1.0, atol=1e-12)


@settings(deadline=None, max_examples=100)
@given(seeds, st.floats(0, np.pi))
def test_axis_and_angle_are_scipys(seed: int, angle: float) -> None:
    axis = np.random.default_rng(seed).normal(size=3)
    axis /= np.linalg.norm(axis)
    found, turned = axis_and_angle(Rotation.from_rotvec(angle * axis).as_matrix())
    np.testing.assert_allclose(turned, angle, atol=1e-7)
    again = Rotation.from_rotvec(turned * found).as_matrix()
    np.testing.assert_allclose(again, Rotation.from_rotvec(angle * axis).as_matrix(), atol=1e-7)


@pytest.mark.parametrize("size", [1e-6, 1.0, 1e6])
@settings(deadline=None, max_examples=30)
@given(seed=seeds)
def test_a_planted_similarity_is_found_at_every_size(size: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    source, turn, scale = size * rng.normal(size=(8, 3)), planted(rng), rng.uniform(0.1, 10)
    shift = size * rng.normal(size=3)
    motion = similarity(source, scale * source @ turn.T + shift)
    np.testing.assert_allclose(motion.rotation, turn, atol=1e-9)
    np.testing.assert_allclose(motion.scale, scale, rtol=1e-9)
    np.testing.assert_allclose(motion.inverse()(motion(source)), source, atol=1e-9 * size)


def test_umeyamas_own_example() -> None:
    """Umeyama 1991, section III: two triangles in the plane, one the mirror image of the other, with
    R = [[0.832, 0.555], [-0.555, 0.832]] and c = 0.721 (from memory).

    Two points far above and below the means hold the plane in space, where it could otherwise turn over.
    """
    x = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 0]])
    y = np.array([[0.0, 0, 0], [-1, 0, 0], [0, 2, 0]])
    mean_x, mean_y, far = x.mean(0), y.mean(0), np.array([[0.0, 0, 50], [0, 0, -50]])
    motion = similarity(np.vstack([x, mean_x + far]), np.vstack([y, mean_y + far]))
    np.testing.assert_allclose(motion.rotation[:2, :2], [[0.832, 0.555], [-0.555, 0.832]], atol=5e-4)
    a, b = x - mean_x, y - mean_y
    _, values = nearest_rotation(b.T @ a + far.T @ far)
    np.testing.assert_allclose(values[1:].sum() / (a**2).sum(), 0.721, atol=5e-4)


@settings(deadline=None, max_examples=30)
@given(seeds)
def test_weights_count_as_repeated_points_do(seed: int) -> None:
    rng = np.random.default_rng(seed)
    source, target, times = rng.normal(size=(7, 3)), rng.normal(size=(7, 3)), rng.integers(0, 4, 7)
    times[:4] += 1
    weighted = similarity(source, target, times.astype(float))
    repeated = similarity(np.repeat(source, times, axis=0), np.repeat(target, times, axis=0))
    np.testing.assert_allclose(weighted(source), repeated(source), atol=1e-9)


def test_no_points_and_no_weights_give_the_identity() -> None:
    for motion in (similarity(np.zeros((0, 3)), np.zeros((0, 3))), similarity(np.eye(3), 2 * np.eye(3), np.zeros(3))):
        np.testing.assert_array_equal(motion(np.eye(3)), np.eye(3))


def test_points_that_coincide_are_shifted_and_nothing_else() -> None:
    motion = similarity(np.ones((5, 3)), np.full((5, 3), 4.0))
    np.testing.assert_allclose(motion(np.ones((1, 3))), [[4.0, 4.0, 4.0]])
    assert motion.scale == 1.0 and not is_determined(np.ones((5, 3)), np.full((5, 3), 4.0))


@settings(deadline=None, max_examples=30)
@given(seeds)
def test_points_on_a_line_are_laid_on_it_and_the_turn_about_it_is_left_open(seed: int) -> None:
    rng = np.random.default_rng(seed)
    source = np.outer(rng.normal(size=6), rng.normal(size=3)) + rng.normal(size=3)
    turn, shift = planted(rng), rng.normal(size=3)
    motion = similarity(source, source @ turn.T + shift, scaled=False)
    np.testing.assert_allclose(motion(source), source @ turn.T + shift, atol=1e-9)
    np.testing.assert_allclose(np.linalg.det(motion.rotation), 1.0, atol=1e-9)
    assert not is_determined(source, source @ turn.T + shift)
    source[0] += 0.1 * rng.normal(size=3) + [0.3, -0.3, 0.3]
    assert is_determined(source, source @ turn.T + shift)


@settings(deadline=None, max_examples=30)
@given(seeds)
def test_the_nearest_rotation_of_many_matrices_is_scipys_of_each(seed: int) -> None:
    """scipy.spatial.transform.Rotation.align_vectors on the rows whose products make the matrix."""
    rng = np.random.default_rng(seed)
    x, y = rng.normal(size=(5, 4, 3)), rng.normal(size=(5, 4, 3))
    matrices = np.einsum("nki,nkj->nij", y, x)
    rotations, values = nearest_rotation(matrices)
    for one in range(5):
        expected = Rotation.align_vectors(y[one], x[one])[0].as_matrix()
        np.testing.assert_allclose(rotations[one], expected, atol=1e-7)
    np.testing.assert_allclose(values.sum(1), np.einsum("nij,nij->n", rotations, matrices), atol=1e-9)


@settings(deadline=None, max_examples=20)
@given(seeds)
def test_the_common_motion_is_that_of_the_part_that_keeps_its_form(seed: int) -> None:
    """Three points in five follow a planted motion to the digit, the others go where they will."""
    rng = np.random.default_rng(seed)
    source = 100 * rng.normal(size=(200, 3))
    turn = Rotation.from_rotvec(0.05 * rng.normal(size=3))
    target = turn.apply(source) + rng.normal(size=3)
    target[:80] += rng.uniform(2, 20, (80, 1)) * rng.normal(size=(80, 3))
    motion = common_motion(source, target, rng.uniform(0.5, 1.5, 200))
    np.testing.assert_allclose(motion(source[80:]), target[80:], atol=1e-3)


def test_what_does_not_count_does_not_move_the_common_motion() -> None:
    rng = np.random.default_rng(5)
    source = rng.normal(size=(50, 3))
    target = source + [1.0, 2.0, 3.0]
    weights = np.ones(50)
    weights[:20], target[:20] = 0.0, 1e9
    np.testing.assert_allclose(common_motion(source, target, weights).shift, [1.0, 2.0, 3.0], atol=1e-9)
    still = without_head_motion(source, weights, target - source)
    np.testing.assert_allclose(still[20:], 0.0, atol=1e-9)


def test_one_rotation_is_best_unless_what_counts_lies_on_a_line() -> None:
    points = np.array([[0.0, 0, 0], [1, 0, 0], [3, 0, 0], [0, 2, 0], [1, 1, 1]])
    assert is_determined(points, points) and is_determined(points, points, np.ones(5))
    for light in (0.0, 1e-14):  # what is off the line does not count
        assert not is_determined(points, points, np.array([1.0, 1, 1, light, light]))
    assert is_determined(points, points, np.array([1.0, 1, 1, 0.5, 0.0]))
    assert not is_determined(points, points * [1.0, 0.0, 0.0])
