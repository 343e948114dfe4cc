"""Rows of vectors at every size: products, lengths, directions and cosines, against numpy and by hand."""

from __future__ import annotations

import numpy as np
import pytest

from composer.geometry.vectors import cosine, cross, dot, lengths, unit_rows

ONE = np.array([[3.0, 4.0, 0.0], [1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.0, 0.0]])
OTHER = np.array([[3.0, 4.0, 0.0], [0.0, -2.0, 0.0], [-1.0, 0.0, 0.0], [1.0, 2.0, 3.0]])


@pytest.mark.parametrize("size", [1e-4, 1.0, 1e4])
def test_rows(size: float) -> None:
    np.testing.assert_allclose(cross(size * ONE, OTHER), size * np.cross(ONE, OTHER), rtol=1e-12, atol=1e-15)
    np.testing.assert_allclose(dot(size * ONE, OTHER), size * np.array([25.0, 0.0, -1.0, 0.0]), rtol=1e-12)
    np.testing.assert_allclose(lengths(size * ONE), size * np.array([5.0, 1.0, np.sqrt(2.0), 0.0]), rtol=1e-12)
    np.testing.assert_allclose(unit_rows(size * ONE)[0], [0.6, 0.8, 0.0], rtol=1e-12)
    assert not unit_rows(size * ONE)[3].any()
    np.testing.assert_allclose(cosine(size * ONE, size * OTHER), [1.0, 0.0, -np.sqrt(0.5), 1.0], rtol=1e-9, atol=1e-12)
