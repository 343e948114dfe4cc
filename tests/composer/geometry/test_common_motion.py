"""The head's own motion: what rests is left bit for bit at every size, and what most of it does is taken off."""

from __future__ import annotations

import numpy as np
import pytest

from composer.geometry.common_motion import common_motion, robust_motion, without_head_motion
from composer.geometry.rigid import axis_and_angle, similarity
from tests.small_heads import random_rotation


def points(size: float = 1.0) -> np.ndarray:
    return size * np.random.default_rng(1).normal(size=(60, 3))


@pytest.mark.parametrize("size", [1e-3, 1.0, 1e3])
def test_a_head_that_rests_but_for_rounding_is_left_bit_for_bit(size: float) -> None:
    at, mass = points(size), np.ones(60)
    delta = 1e-8 * size * np.random.default_rng(2).normal(size=(60, 3))
    delta[:25] += size * np.array([0.0, 0.1, 0.0])
    np.testing.assert_array_equal(without_head_motion(at, mass, delta), delta)


@pytest.mark.parametrize("size", [1e-2, 1.0, 1e2])
def test_a_head_that_moves_has_its_motion_taken_off(size: float) -> None:
    at = points(size)
    turn = random_rotation(np.random.default_rng(5))
    smile = np.where((np.arange(60) < 20)[:, None], size * np.array([0.0, 0.1, 0.05]), 0.0)
    moved = (at + smile) @ turn.T + size * np.array([1.0, 2.0, 3.0])
    np.testing.assert_allclose(without_head_motion(at, np.ones(60), moved - at), smile, atol=1e-6 * size)


def test_what_has_no_mass_does_not_count() -> None:
    at, mass = points(), np.where(np.arange(60) < 40, 0.0, 1.0)
    delta = np.where((np.arange(60) < 40)[:, None], [0.0, 0.0, 5.0], 0.0)
    np.testing.assert_array_equal(without_head_motion(at, mass, delta), delta)
    motion = common_motion(at, at + delta, mass)
    np.testing.assert_allclose(motion(at), at, atol=1e-12)


def test_no_weights_at_all_give_no_motion() -> None:
    np.testing.assert_array_equal(common_motion(points(), 2 * points(), np.zeros(60))(points()), points())


def test_a_point_at_the_scale_counts_a_quarter() -> None:
    # All rest but one, which is so light that it turns nothing: it lies one scale, then two, from the motion.
    at, mass = points(), np.ones(60)
    mass[0] = 1e-9
    for far, share in ((0.5, 0.25), (1.0, 1 / 25)):
        delta = np.where((np.arange(60) == 0)[:, None], [far, 0.0, 0.0], 0.0)
        _, weight = robust_motion(at, at + delta, mass, lambda number, away: 0.5, 3)
        assert weight[0] == pytest.approx(1e-9 * share, rel=1e-6) and weight[1] == pytest.approx(1.0, rel=1e-6)


def test_a_turn_about_an_axis_goes_on_until_it_has_settled() -> None:
    # Pairs of opposite points: the shift is nothing in every round, and so is what the turn changes along its axis.
    at = np.concatenate([points(), -points()])
    further = np.arange(120) % 60 < 15

    def turned(angle: float) -> np.ndarray:
        turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])
        return at @ turn.T

    moved = np.where(further[:, None], turned(1.2), turned(0.3))
    motion, _ = robust_motion(at, moved, np.ones(120), lambda number, away: 0.5, 60)
    axis, found = axis_and_angle(motion.rotation)
    assert found * axis[2] == pytest.approx(0.3, abs=0.05)
    weight = 1.0 / (1.0 + (np.linalg.norm(motion(at) - moved, axis=1) / 0.5) ** 2) ** 2
    again = similarity(at, moved, weight, scaled=False)  # the weights that a settled motion gives, give it again
    np.testing.assert_allclose(again.rotation, motion.rotation, atol=1e-8)
