"""The laws of shapes that turn: exact at 0 and 1, the angle w times the whole, distances from the hinge kept."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.linalg import expm, logm
from scipy.spatial.transform import Rotation

from composer.errors import MoueError
from composer.geometry.surface import Surface
from composer.head.head import Head, InBetween, Shape
from composer.mixing.displacement import motion
from composer.mixing.hinge import Hinge, hinge_displacement, turn
from composer.mixing.hinge_estimate import estimate_hinge
from composer.mixing.linear import pose
from composer.mixing.recipe import Cell, Recipe
from tests.small_heads import grid, random_head

seeds = st.integers(0, 2**32 - 1)
law = settings(deadline=None, max_examples=60)


def planted(seed: int, angle: float) -> tuple[Head, NDArray[np.float64], NDArray[np.float64]]:
    """A sheet about 100 mm wide whose one shape turns it whole, and the axis and a point on it."""
    rng = np.random.default_rng(seed)
    mesh = grid(5, 5)
    at = 50.0 * rng.normal(size=(25, 3))
    axis = rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    origin = 80.0 * rng.normal(size=3)
    delta = Rotation.from_rotvec(angle * axis).apply(at - origin) + origin - at
    return Head("jaw", mesh, at, (Shape("drop", delta.astype(np.float32)),)), axis, origin


@law
@given(seeds, st.floats(-3.0, 3.0))
def test_a_turn_is_scipys_rotation(seed: int, angle: float) -> None:
    head, axis, origin = planted(seed, angle)
    expected = Rotation.from_rotvec(angle * axis).apply(head.neutral - origin) + origin
    np.testing.assert_allclose(turn(head.neutral, axis, origin, angle), expected, rtol=0, atol=1e-10)


@law
@given(seeds, st.floats(0.05, 1.2), st.floats(-0.2, 1.2))
def test_a_pure_turn_at_w_is_the_rotation_to_the_power_w(seed: int, angle: float, w: float) -> None:
    # exp(w log R) = R(w theta) for theta below pi: scipy.linalg.expm and logm.
    head, axis, origin = planted(seed, angle)
    hinge = Hinge(axis, origin, angle, np.ones(25, dtype=np.float32))
    power = expm(w * logm(Rotation.from_rotvec(angle * axis).as_matrix()))
    expected = (head.neutral - origin) @ power.T + origin - head.neutral
    found = hinge_displacement(head.neutral, head.shapes[0].delta, hinge, w)
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-4)


@law
@given(seeds, st.floats(0.1, 0.7), st.floats(-0.2, 1.2))
def test_the_distance_from_the_hinge_is_kept_where_plain_mixing_shrinks_it(seed: int, angle: float, w: float) -> None:
    head, axis, origin = planted(seed, angle)
    surface = Surface(head.polygons, head.neutral)
    hinges = {"drop": estimate_hinge(surface, head.shapes[0].delta)}
    recipe = Recipe("open", (Cell("jaw", "drop", w),))
    masks = {"jaw": np.ones(25)}
    chin = int(np.argmax(radius(head.neutral, axis, origin)))

    before = radius(head.neutral, axis, origin)[chin]
    turned = radius(pose(head, masks, recipe, hinges=hinges), axis, origin)[chin]
    straight = radius(pose(head, masks, recipe), axis, origin)[chin]
    assert abs(turned / before - 1) <= 1e-3
    if 0.1 < w < 0.9:
        assert straight < before
        # A chord's distance from its centre, the cosine rule: |r|^2 = 1 - 2 w (1 - w) (1 - cos angle).
        np.testing.assert_allclose(straight / before, np.sqrt(1 - 2 * w * (1 - w) * (1 - np.cos(angle))), rtol=1e-5)


@law
@given(seeds)
def test_any_hinge_is_exact_at_nothing_and_at_the_whole(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, grid(4, 4), 1)
    rigidity = rng.random(16).astype(np.float32)
    hinge = Hinge(rng.normal(size=3), 50 * rng.normal(size=3), float(rng.uniform(-2, 2)), rigidity)
    move = motion(head, head.shapes[0], hinge)
    assert not move.at(0.0).any()
    np.testing.assert_allclose(move.at(1.0), head.shapes[0].delta, rtol=0, atol=1e-9 * head.diagonal)


def radius(points: NDArray, axis: NDArray, origin: NDArray) -> NDArray[np.float64]:
    return np.linalg.norm(np.cross(points - origin, axis), axis=1)


def test_what_makes_no_hinge_is_refused() -> None:
    ones = np.ones(3, dtype=np.float32)
    with pytest.raises(MoueError, match="axis is three numbers, not all zero"):
        Hinge(np.zeros(3), np.zeros(3), 0.1, ones)
    with pytest.raises(MoueError, match="400 degrees is not within 180"):
        Hinge(np.ones(3), np.zeros(3), np.radians(400), ones)
    with pytest.raises(MoueError, match="one number a vertex"):
        Hinge(np.ones(3), np.zeros(3), 0.1, np.array([np.nan], dtype=np.float32))
    head = random_head(np.random.default_rng(0), grid(2, 2), 1)
    with pytest.raises(MoueError, match="a hinge for 3 vertices on a head of 4"):
        motion(head, head.shapes[0], Hinge(np.ones(3), np.zeros(3), 0.1, ones))
    both = Shape("blink", head.shapes[0].delta, (InBetween(0.5, head.shapes[0].delta),))
    with pytest.raises(MoueError, match="'blink' has in-betweens and a hinge"):
        motion(head, both, Hinge(np.ones(3), np.zeros(3), 0.1, np.ones(4, dtype=np.float32)))
