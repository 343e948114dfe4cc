"""Finding hinges: against scipy's own alignment, planted turns, and what it must refuse."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.mixing.hinge import hinge_displacement
from composer.mixing.hinge_estimate import estimate_hinge, worthwhile
from tests.small_heads import grid

seeds = st.integers(0, 2**32 - 1)


def bowl(rows: int = 30) -> Surface:
    """A jaw-like sheet: half a cylinder of radius 60 mm, 110 mm deep, bent upwards at its back."""
    u, v = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(0, 1, rows), indexing="ij")
    x, y, z = 60 * np.sin(1.4 * u), -40 * v - 10 * u**2, 110 * v * np.cos(u) - 20
    return Surface(grid(rows, rows), np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1))


@settings(deadline=None, max_examples=20)
@given(seeds, st.floats(5.0, 40.0))
def test_a_pure_turn_is_found_and_fully_explained(seed: int, degrees: float) -> None:
    rng = np.random.default_rng(seed)
    surface = bowl(12)
    axis = np.array([1.0, 0.0, 0.0]) + 0.2 * rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    origin = np.array([0.0, 20.0, -30.0]) + 5 * rng.normal(size=3)
    turn = Rotation.from_rotvec(np.radians(degrees) * axis)
    delta = turn.apply(surface.positions - origin) + origin - surface.positions
    hinge = estimate_hinge(surface, delta)
    np.testing.assert_allclose(hinge.axis, axis, atol=1e-8)
    np.testing.assert_allclose(hinge.angle_deg, degrees, atol=1e-6)
    np.testing.assert_allclose(np.cross(hinge.origin - origin, axis), 0.0, atol=1e-5)
    assert hinge.rigidity.min() > 0.999999 and hinge.explained > 0.999999 and worthwhile(hinge)


@pytest.mark.parametrize("degrees", [12.0, 25.0])
def test_a_planted_jaw_is_found_behind_a_soft_border_noise_and_a_smile(degrees: float) -> None:
    rng = np.random.default_rng(2)
    surface = bowl()
    at = surface.positions
    along = np.clip((at[:, 2] - 5) / 40, 0, 1)
    follows = along**2 * (3 - 2 * along)
    axis, origin = np.array([1.0, 0.0, 0.0]), np.array([0.0, 25.0, -15.0])
    turned = Rotation.from_rotvec(np.radians(degrees) * axis).apply(at - origin) + origin - at
    smile = 3.0 * np.exp(-((at - at[at[:, 2].argmax()] - [25, 0, 0]) ** 2).sum(axis=1) / 200)[:, None] * [1, 0.5, 0]
    delta = follows[:, None] * turned + smile + 0.05 * rng.normal(size=at.shape)
    hinge = estimate_hinge(surface, delta)
    assert np.degrees(np.arccos(min(1.0, abs(hinge.axis @ axis)))) < 2.0
    assert abs(abs(hinge.angle_deg) - degrees) < 0.1 * degrees
    assert np.linalg.norm(np.cross(hinge.origin - origin, axis)) < 12.0
    assert np.abs(hinge.rigidity - follows)[along > 0].mean() < 0.05
    assert hinge.explained > 0.95 and worthwhile(hinge)
    np.testing.assert_allclose(hinge_displacement(at, delta, hinge, 1.0), delta, atol=1e-9)


def test_what_the_shape_does_not_move_does_not_turn() -> None:
    surface = bowl(14)
    at = surface.positions
    still = at[:, 2] < 20
    delta = Rotation.from_rotvec([0.4, 0, 0]).apply(at.copy()) - at
    delta[still] = 0.0
    hinge = estimate_hinge(surface, delta)
    assert (hinge.rigidity[still] == 0.0).all()
    assert not hinge_displacement(at, delta, hinge, 0.37)[still].any()


def test_a_straight_shape_is_not_worth_a_hinge() -> None:
    surface = bowl(14)
    fall = np.exp(-((surface.positions - surface.positions[90]) ** 2).sum(axis=1) / 900)
    assert not worthwhile(estimate_hinge(surface, fall[:, None] * np.array([0.0, 6.0, 2.0])))


def test_what_cannot_have_a_hinge_is_refused() -> None:
    surface = bowl(5)
    with pytest.raises(MoueError, match="'grin' does not move"):
        estimate_hinge(surface, np.zeros((25, 3)), "grin")
    line = Surface(Polygons.from_faces([[0, 1, 2]], 3), np.array([[0.0, 0, 0], [1.0, 0, 0], [2.0, 0, 0]]))
    with pytest.raises(MoueError, match="lies on one line"):
        estimate_hinge(line, np.array([[0.0, 1, 0], [0.0, 1, 0], [0.0, 1, 0]]), "grin")
