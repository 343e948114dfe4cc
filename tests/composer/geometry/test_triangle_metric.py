"""Principal stretches against the polar decomposition and against deformations with known answers."""

import numpy as np
import pytest
import scipy.linalg
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.geometry.triangle_metric import principal_stretches, strain_size

TRIANGLES = np.array([[0, 1, 2]])
FLAT = np.array([[0.0, 0.0, 0.0], [3.0, 0.0, 0.0], [1.0, 2.0, 0.0]])
number = st.floats(-2.0, 2.0)
matrix = st.lists(number, min_size=4, max_size=4).map(lambda v: np.array(v).reshape(2, 2))


@given(matrix, st.integers(0, 2**31 - 1))
def test_stretches_are_the_eigenvalues_of_the_right_stretch_of_the_polar_decomposition(f, seed):
    # F = R U, U's eigenvalues are the principal stretches (scipy.linalg.polar, an independent implementation).
    turn = Rotation.random(random_state=seed).as_matrix()
    pose = np.concatenate([FLAT[:, :2] @ f.T, np.zeros((3, 1))], axis=1) @ turn.T + 5.0
    _, right = scipy.linalg.polar(f)
    expected = np.sort(np.linalg.eigvalsh(right))[::-1]
    np.testing.assert_allclose(principal_stretches(FLAT, pose, TRIANGLES)[0], expected, atol=2e-6)


@given(st.integers(0, 2**31 - 1))
def test_a_rigid_motion_does_not_strain(seed):
    turn = Rotation.random(random_state=seed).as_matrix()
    np.testing.assert_allclose(principal_stretches(FLAT, FLAT @ turn.T - 7.0, TRIANGLES), 1.0, atol=1e-7)


def test_simple_shear_has_its_closed_form():
    # Simple shear by k: stretches are (k/2 + sqrt(k^2/4 + 1)) and its inverse (continuum mechanics, from memory).
    k = 0.8
    pose = FLAT.copy()
    pose[:, 0] += k * FLAT[:, 1]
    large = k / 2.0 + np.sqrt(k * k / 4.0 + 1.0)
    np.testing.assert_allclose(principal_stretches(FLAT, pose, TRIANGLES)[0], [large, 1.0 / large])


@pytest.mark.parametrize("scale", [0.5, 1.0, 3.0])
def test_uniform_scale_stretches_both_ways_alike(scale):
    np.testing.assert_allclose(principal_stretches(FLAT, scale * FLAT, TRIANGLES)[0], scale)


def test_half_as_long_counts_like_twice_as_long():
    both = np.array([[2.0, 1.0], [1.0, 0.5], [1.0, 1.0]])
    np.testing.assert_allclose(strain_size(both), [1.0, 1.0, 0.0])


def test_a_triangle_without_area_at_rest_has_no_strain():
    line = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [2.0, 0.0, 0.0]])
    np.testing.assert_array_equal(principal_stretches(line, FLAT, TRIANGLES), [[1.0, 1.0]])
