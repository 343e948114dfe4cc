"""A few weights under bounds against scipy's solver of bounded least squares, an independent implementation."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import lsq_linear

from composer.mixing.pull.small_bounded import small_bounded


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32 - 1), st.integers(1, 9))
def test_it_is_the_bounded_least_squares_answer_from_any_start(seed: int, count: int) -> None:
    """min |A y - b|^2 has H = A'A and c = A'b."""
    rng = np.random.default_rng(seed)
    tall, wanted = rng.normal(size=(count + 3, count)), rng.normal(size=count + 3)
    low, high = -rng.uniform(0.0, 0.4, count), rng.uniform(0.01, 0.4, count)
    low[rng.random(count) < 0.5] = 0.0
    start = rng.choice([0.0, 1.0, -1.0], size=count)
    start = np.where(start > 0, high, np.where(start < 0, low, 0.0))
    given_ = small_bounded(tall.T @ tall, tall.T @ wanted, low, high, start)
    expected = lsq_linear(tall, wanted, (low, high), method="bvls", tol=1e-12).x
    np.testing.assert_allclose(given_, expected, atol=1e-8)
