"""Strain both ways: as large as strain without a sign, squeezed below zero, stretched above, in two hues."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.picture.heat import signed_strain, signed_strain_scale, vertex_strain
from composer.picture.palette import two_hues
from tests.small_heads import grid


@given(st.integers(0, 2**32 - 1))
def test_the_size_is_that_of_strain_without_a_sign(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh = grid(4, 4)
    neutral = rng.normal(size=(mesh.n_vertices, 3))
    pose = neutral + 0.3 * rng.normal(size=neutral.shape)
    triangles = mesh.triangles
    np.testing.assert_allclose(
        np.abs(signed_strain(neutral, pose, triangles)), vertex_strain(neutral, pose, triangles), rtol=1e-12
    )


@pytest.mark.parametrize(("factor", "sign"), [(1.3, 1.0), (0.8, -1.0)])
def test_a_sheet_made_larger_is_stretched_and_made_smaller_squeezed(factor: float, sign: float) -> None:
    x, y = np.meshgrid(np.arange(4.0), np.arange(4.0))
    neutral = np.stack([x, y, 0 * x], axis=-1).reshape(-1, 3)
    strain = signed_strain(neutral, factor * neutral, grid(4, 4).triangles)
    assert np.all(np.sign(strain) == sign)
    np.testing.assert_allclose(strain, sign * (max(factor, 1 / factor) - 1.0), rtol=1e-7)


@given(st.floats(-1.0, 1.0))
def test_both_ways_show_as_much_and_rest_shows_nothing(amount: float) -> None:
    one, other = two_hues(amount), two_hues(-amount)
    assert one[3] == other[3] and (one[3] > 0.0) == (abs(amount) > 0.0 and one[3] > 0.0)
    assert two_hues(0.0)[3] == 0.0 and two_hues(np.nan)[3] == 0.0
    if abs(amount) > 1e-3:
        assert not np.allclose(one[:3], other[:3])
    scale = signed_strain_scale(np.array([-0.4, 0.2]))
    assert scale.low == -scale.high
    assert "squeezed" in scale.number(scale.low) and "stretched" in scale.number(scale.high)
