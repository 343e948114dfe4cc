"""The radial basis is scipy's, and what it foretells of places left out is what solving without them gives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RBFInterpolator

from composer.fitting.radial_basis import RadialBasis


@settings(max_examples=25)
@given(
    count=st.integers(6, 60), cubic=st.booleans(), degree=st.integers(0, 1), size=st.floats(0.1, 1000.0),
    seed=st.integers(0, 2**32 - 1),
)  # fmt: skip
def test_it_is_the_independent_one_and_foretells_as_that_does(
    count: int, cubic: bool, degree: int, size: float, seed: int
) -> None:
    """Against scipy.interpolate.RBFInterpolator, made once of all places and once without each."""
    degree = 1 if cubic else degree
    rng = np.random.default_rng(seed)
    places, values = size * rng.normal(size=(count, 3)), rng.normal(size=(count, 2))
    points = size * rng.normal(size=(20, 3))
    tip = None if cubic else 0.05 * size
    named = {"kernel": "cubic"} if cubic else {"kernel": "multiquadric", "epsilon": 1.0 / (0.05 * size)}

    def other(some: np.ndarray) -> RBFInterpolator:
        return RBFInterpolator(places[some], values[some], degree=degree, **named)

    own, every = RadialBasis(places, values, tip, degree), np.arange(count)
    np.testing.assert_allclose(own(points), other(every)(points), rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(own(places), values, atol=1e-7)
    chosen = every[::5]
    foretold = np.array([other(every[every != i])(places[[i]])[0] - values[i] for i in chosen])
    np.testing.assert_allclose(own.left_out(chosen), foretold, rtol=1e-6, atol=1e-6)


def test_places_that_do_not_tell_are_refused() -> None:
    flat = np.random.default_rng(0).normal(size=(9, 3)) * [1.0, 1.0, 0.0]
    with pytest.raises(np.linalg.LinAlgError):
        RadialBasis(flat, flat)
    with pytest.raises(np.linalg.LinAlgError):
        RadialBasis(np.ones((2, 3)), np.ones((2, 1)), 1.0, 0)
