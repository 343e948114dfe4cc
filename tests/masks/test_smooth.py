"""A mask smoothed by a width in mm: the variance of a Gaussian, nothing beyond its range, nothing over a barrier."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import erf

from composer.errors import MoueError
from composer.geometry.barriers import Barriers
from masks.smooth import smoothed_by
from tests.masks.surfaces import plane, slit_plane, sphere

FLAT = plane(61, 9)
OPEN = Barriers(FLAT, ())
BALL = Barriers(sphere(2, 30.0), ())


@pytest.mark.parametrize("width", [2.0, 4.0, 6.0])
def test_a_hard_edge_becomes_the_integral_of_a_gaussian(width: float) -> None:
    """The heat equation on a line with a step: u = (1 + erf(x / (2 sqrt t))) / 2, t = width^2 / 2 (Crank 1975, "The
    mathematics of diffusion", equation 2.14; from memory)."""
    x = FLAT.positions[:, 0] - 29.5
    made = smoothed_by(OPEN, (x > 0.0).astype(float), width)
    np.testing.assert_allclose(made, 0.5 * (1.0 + erf(x / (width * np.sqrt(2.0)))), atol=0.03)  # four steps of time


@pytest.mark.parametrize("width", [2.0, 5.0])
def test_the_width_is_the_standard_deviation_of_a_point(width: float) -> None:
    mask = np.zeros(FLAT.n_vertices)
    mask[np.abs(FLAT.positions[:, 0] - 30.0) < 0.1] = 1.0
    made = smoothed_by(OPEN, mask, width) * FLAT.mass
    away = FLAT.positions[:, 0] - 30.0
    assert np.sqrt((made @ away**2) / made.sum()) == pytest.approx(width, rel=0.02)


@given(st.integers(0, 99), st.floats(0.0, 40.0))
def test_it_keeps_the_sum_and_stays_within_the_range(seed: int, width: float) -> None:
    mask = 0.2 + 0.6 * np.random.default_rng(seed).random(BALL.surface.n_vertices)
    made = smoothed_by(BALL, mask, width)
    assert mask.min() <= made.min() and made.max() <= mask.max()
    assert made @ BALL.surface.mass == pytest.approx(mask @ BALL.surface.mass, rel=1e-9)


@given(st.floats(0.0, 1.0), st.floats(0.0, 100.0))
def test_an_even_mask_stays(level: float, width: float) -> None:
    np.testing.assert_allclose(smoothed_by(BALL, np.full(BALL.surface.n_vertices, level), width), level, atol=1e-9)


@given(st.integers(0, 99), st.floats(0.5, 20.0))
def test_the_mirror_image_of_the_smoothed_is_the_smoothed_mirror_image(seed: int, width: float) -> None:
    partner = np.arange(FLAT.n_vertices).reshape(61, 9)[::-1].ravel()
    mask = np.random.default_rng(seed).random(FLAT.n_vertices)
    image = smoothed_by(OPEN, mask[partner], width)
    np.testing.assert_allclose(smoothed_by(OPEN, mask, width)[partner], image, atol=1e-9)


@given(st.floats(0.5, 60.0))
def test_one_lip_does_not_reach_the_other(width: float) -> None:
    surface, upper, lower = slit_plane(8, 20, 19)
    barriers = Barriers(surface, [upper, lower])
    mask = (surface.positions[:, 0] > 8.5).astype(float)
    made = smoothed_by(barriers, mask, width)
    below = (surface.positions[:, 0] < 7.5) & (surface.positions[:, 1] < 19.0)
    assert made[below].max() == 0.0


def test_no_width_changes_nothing_and_what_makes_no_sense_is_refused() -> None:
    mask = np.random.default_rng(3).random(FLAT.n_vertices)
    np.testing.assert_array_equal(smoothed_by(OPEN, mask, 0.0), mask)
    for width in (-1.0, 101.0, float("nan")):
        with pytest.raises(MoueError, match="smoothed by"):
            smoothed_by(OPEN, mask, width)
