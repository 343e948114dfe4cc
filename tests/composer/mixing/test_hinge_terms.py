"""Terms of a hinge's estimate, on a flat patch of known turn: what it explains, and how far each vertex follows."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from composer.geometry.surface import Surface
from composer.mixing.hinge import turn
from composer.mixing.hinge_estimate import estimate_hinge
from tests.small_heads import grid

SIDE = 12
Z = np.array([0.0, 0.0, 1.0])


def patch(size: float = 100.0) -> Surface:
    """A sheet in the x, z plane from 1 to 2 times `size` beside the z axis."""
    z, x = np.meshgrid(np.linspace(-0.5, 0.5, SIDE), np.linspace(1.0, 2.0, SIDE), indexing="ij")
    return Surface(grid(SIDE, SIDE), size * np.stack([x.ravel(), 0 * x.ravel(), z.ravel()], axis=1))


def turned(surface: Surface, degrees: float) -> np.ndarray:
    return turn(surface.positions, Z, np.zeros(3), np.radians(degrees)) - surface.positions


def test_a_slide_along_the_axis_is_what_the_hinge_does_not_explain() -> None:
    surface = patch()
    about = turned(surface, 20.0)
    slide = 12.0
    hinge = estimate_hinge(surface, about + slide * Z)
    explained = float(surface.mass @ (about**2).sum(axis=1))
    assert hinge.explained == pytest.approx(explained / (explained + slide**2 * surface.mass.sum()), abs=1e-6)
    assert hinge.angle * (hinge.axis @ Z) == pytest.approx(np.radians(20.0), abs=1e-6)
    np.testing.assert_allclose(hinge.rigidity, 1.0, atol=1e-6)


@pytest.mark.parametrize("size", [0.05, 1.0, 100.0])
def test_a_turn_of_any_size_is_followed_wholly(size: float) -> None:
    surface = patch(size)
    hinge = estimate_hinge(surface, turned(surface, 5.0))
    np.testing.assert_allclose(hinge.rigidity, 1.0, atol=1e-6)
    assert hinge.explained == pytest.approx(1.0, abs=1e-6)
    assert abs(hinge.angle_deg) == pytest.approx(5.0, abs=1e-6)


@pytest.mark.parametrize("follows", [0.5, 0.2])
def test_what_follows_in_part_has_that_rigidity_and_what_rests_has_none(follows: float) -> None:
    surface = patch()
    row = np.arange(SIDE * SIDE) // SIDE  # along the axis
    share = np.where(row < 6, 1.0, np.where(row < 10, follows, 0.0))
    hinge = estimate_hinge(surface, share[:, None] * turned(surface, 10.0))
    np.testing.assert_allclose(hinge.rigidity[row < 4], 1.0, atol=0.02)
    np.testing.assert_allclose(hinge.rigidity[(row == 7) | (row == 8)], follows, atol=0.05)
    assert not hinge.rigidity[row >= 10].any()
    assert abs(hinge.angle_deg) == pytest.approx(10.0, abs=0.2)


def test_what_moves_against_the_turn_does_not_follow_it() -> None:
    surface = patch()
    row = np.arange(SIDE * SIDE) // SIDE
    hinge = estimate_hinge(surface, np.where(row < 8, 1.0, -0.5)[:, None] * turned(surface, 10.0))
    assert hinge.rigidity.min() >= 0.0 and hinge.rigidity.max() <= 1.0
    assert hinge.rigidity[row == 11].max() < 0.05


def test_a_vertex_that_hardly_moves_turns_no_further_than_that() -> None:
    # On a fine patch a lone vertex takes its neighbours' rigidity, but for its own movement's sake not the whole of it.
    surface = patch()
    about = turned(surface, 10.0)
    lone = 6 * SIDE + 6
    share = np.where(np.arange(SIDE * SIDE) == lone, 0.1, 1.0)
    hinge = estimate_hinge(surface, share[:, None] * about)
    assert 0.1 <= hinge.rigidity[lone] <= 0.13
    np.testing.assert_allclose(np.delete(hinge.rigidity, lone), 1.0, atol=0.15)


def test_what_is_squeezed_onto_a_line_has_no_axis() -> None:
    surface = patch()
    with pytest.raises(MoueError, match="lies on one line"):
        estimate_hinge(surface, (120.0 - surface.positions[:, :1]) * [1.0, 0.0, 0.0], "squeeze")


def test_a_shape_that_rests_has_no_hinge() -> None:
    with pytest.raises(MoueError, match="does not move"):
        estimate_hinge(patch(), np.zeros((SIDE * SIDE, 3)))
