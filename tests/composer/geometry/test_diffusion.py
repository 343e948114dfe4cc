"""One step of heat is scipy's direct solution of the same system, and on a sphere what theory says."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.linalg import spsolve

from composer.bench.cube_sphere import cube_sphere
from composer.geometry.diffusion import diffused
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface


@pytest.mark.parametrize("edges", [0.5, 3.0, 30.0])
def test_a_step_is_the_solution_of_its_system(edges: float) -> None:
    polygons, points = cube_sphere(12, seed=2)
    surface, random = Surface(polygons, 80.0 * points + 500.0), np.random.default_rng(0)
    values, t = random.normal(size=(len(points), 2)) + [3.0, -1e4], 0.5 * (edges * surface.mean_edge_mm) ** 2
    system = (sp.diags(surface.mass) + t * surface.laplacian).tocsc()
    np.testing.assert_allclose(diffused(surface, values, t), spsolve(system, surface.mass[:, None] * values), rtol=1e-8)
    np.testing.assert_allclose(diffused(surface, values[:, 0], t), diffused(surface, values, t)[:, 0], rtol=1e-10)


def test_a_sphere_s_coordinates_shrink_by_their_eigenvalue() -> None:
    # On a sphere of radius r the coordinates are eigenfunctions of the Laplacian, rate 2 / r^2 (Courant and Hilbert
    # 1924, "Methods of mathematical physics", chapter V): a backward Euler step divides them by 1 + 2 t / r^2.
    polygons, unit = cube_sphere(24, seed=1)
    points = 50.0 * unit / np.linalg.norm(unit, axis=1)[:, None]
    shrunk = diffused(Surface(polygons, points), points, 200.0)
    np.testing.assert_allclose(shrunk, points / (1.0 + 2.0 * 200.0 / 50.0**2), atol=0.1)


def test_slivers_and_loose_vertices_are_no_obstacle() -> None:
    points = np.array([[0.0, 0, 0], [1, 0, 0], [2, 1e-13, 0], [3, 0, 0], [1, 5, 0], [9, 9, 9]])
    surface = Surface(Polygons.from_faces([[0, 1, 2], [1, 3, 2], [0, 4, 1], [1, 4, 3]], 6), points)
    values = np.arange(6.0)
    system = np.diag(np.maximum(surface.mass, 1e-9 * surface.mass.max())) + 0.3 * surface.laplacian.toarray()
    right = np.maximum(surface.mass, 1e-9 * surface.mass.max()) * values
    np.testing.assert_allclose(diffused(surface, values, 0.3), np.linalg.solve(system, right), rtol=1e-6, atol=1e-6)
