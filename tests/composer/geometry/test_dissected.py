"""A factor in dense blocks solves what the definition of a solution says, for any connected or divided matrix."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.bench.cube_sphere import cube_sphere
from composer.geometry.dissected import LEAF, Dissected
from composer.geometry.surface import Surface


@settings(max_examples=25)
@given(
    size=st.integers(1, 3 * LEAF), edges=st.integers(0, 6 * LEAF), columns=st.integers(0, 5),
    single=st.booleans(), seed=st.integers(0, 2**32 - 1),
)  # fmt: skip
def test_the_matrix_times_the_solution_is_the_right_hand_side(
    size: int, edges: int, columns: int, single: bool, seed: int
) -> None:
    """Of graphs with any edges, also with several pieces, lone vertices and vertices that touch many."""
    rng = np.random.default_rng(seed)
    kind = np.float32 if single else np.float64
    ends = np.sort((size * rng.random((edges, 2)) ** 2).astype(np.int64), axis=1)
    ends = ends[ends[:, 0] != ends[:, 1]]
    weight = rng.uniform(0.1, 1.0, len(ends))
    one_way = sp.coo_matrix((weight, (ends[:, 0], ends[:, 1])), (size, size)).tocsr()
    both = one_way + one_way.T
    matrix = (sp.diags(np.asarray(both.sum(axis=1)).ravel() + 1.0) - both).tocsr().astype(kind)
    right = rng.normal(size=(size, columns)).astype(kind)
    found = Dissected(matrix).solve(right)
    assert found.dtype == kind and found.shape == right.shape
    np.testing.assert_allclose(matrix @ found, right, atol=1e-3 if single else 1e-11)
    if columns:
        np.testing.assert_allclose(Dissected(matrix).solve(right[:, 0]), found[:, 0], atol=1e-4 if single else 1e-12)


def test_a_surface_is_cut_into_small_blocks_and_solved_as_the_dense_matrix() -> None:
    """Against numpy.linalg.solve; a cut of a surface with n vertices is some multiple of their root."""
    polygons, points = cube_sphere(16)
    ball = Surface(polygons, points / np.linalg.norm(points, axis=1, keepdims=True))
    matrix = (sp.diags(ball.mass) + 0.1 * ball.laplacian).tocsr()
    right = np.random.default_rng(0).normal(size=(ball.n_vertices, 3))
    factor = Dissected(matrix)
    np.testing.assert_allclose(factor.solve(right), np.linalg.solve(matrix.toarray(), right), rtol=1e-9, atol=1e-9)
    assert factor.largest_block < 8.0 * np.sqrt(ball.n_vertices)


def test_a_matrix_that_is_not_positive_definite_is_refused() -> None:
    with pytest.raises(np.linalg.LinAlgError):
        Dissected(sp.csr_matrix(np.diag([1.0, -1.0, 2.0])))
