"""The smoothest functions on a surface: orthonormal, the sphere's are spherical harmonics, and the rates are bounds."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.bench.cube_sphere import cube_sphere
from composer.geometry.eigenbasis import smoothest
from composer.geometry.surface import Surface

POLYGONS, POINTS = cube_sphere(20)
BALL = Surface(POLYGONS, POINTS / np.linalg.norm(POINTS, axis=1, keepdims=True))


def test_the_sphere_s_are_spherical_harmonics() -> None:
    """The eigenvalues of the unit sphere's Laplacian are l (l + 1), each 2 l + 1 times.

    Courant and Hilbert 1953, "Methods of Mathematical Physics" I, chapter VII, section 5. A block of few steps comes
    near them from above, the low ones nearest (Rayleigh and Ritz), on a mesh within its own error.
    """
    waves = smoothest(BALL.laplacian, BALL.mass, 49)
    known = np.repeat([degree * (degree + 1.0) for degree in range(7)], [2 * degree + 1 for degree in range(7)])
    assert abs(waves.rates[0]) < 1e-5
    np.testing.assert_allclose(waves.rates[1:9], known[1:9], rtol=0.01)
    assert (waves.rates[9:] > 0.98 * known[9:]).all() and (waves.rates[9:36] < 1.3 * known[9:36]).all()
    linear = waves.functions[:, 1:4]
    seen = linear @ (linear.T @ (BALL.mass[:, None] * BALL.positions))
    np.testing.assert_allclose(seen, BALL.positions, atol=0.01)  # degree 1 are the coordinates


@settings(max_examples=15)
@given(count=st.integers(1, 120), seed=st.integers(0, 2**32 - 1), size=st.floats(0.01, 1000.0))
def test_they_are_orthonormal_and_their_rates_are_what_they_say(count: int, seed: int, size: float) -> None:
    rng = np.random.default_rng(seed)
    lumpy = BALL.at(size * BALL.positions * (1.0 + 0.2 * np.sin(BALL.positions @ rng.normal(size=3) * 3))[:, None])
    waves = smoothest(lumpy.laplacian, lumpy.mass, count, seed)
    gram = waves.functions.T @ (lumpy.mass[:, None] * waves.functions)
    np.testing.assert_allclose(gram, np.eye(count), atol=1e-6)
    bent = np.diag(waves.functions.T @ (lumpy.laplacian @ waves.functions))
    np.testing.assert_allclose(bent, waves.rates, atol=1e-6 * max(waves.rates[-1], 1e-12))
    assert (np.diff(waves.rates) >= -1e-9 * max(waves.rates[-1], 1.0)).all()


def test_the_same_surface_gives_the_same_functions() -> None:
    one, other = (smoothest(BALL.laplacian, BALL.mass, 30) for _ in range(2))
    assert np.array_equal(one.functions, other.functions)
    polygons, points = cube_sphere(6)
    small = Surface(polygons, points)
    assert smoothest(small.laplacian, small.mass, 10**6).functions.shape[1] == len(small.mass)
