"""Areas, normals and the Laplacian against closed forms and libigl."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from tests.masks.surfaces import cylinder, plane, sphere
from tests.small_heads import CUBE, CUBE_CORNERS


def test_areas_sum_to_the_surface() -> None:
    """A cube of half-side 1 has an area of 24; a plane of 4 x 6 steps 24 (geometry)."""
    cube = Surface(CUBE, CUBE_CORNERS)
    assert cube.vertex_areas.sum() == pytest.approx(24.0)
    assert cube.face_areas == pytest.approx(np.full(6, 4.0))
    assert plane(5, 7).vertex_areas.sum() == pytest.approx(24.0)
    assert cube.vertex_areas == pytest.approx(np.full(8, 3.0))


def test_normals_of_a_sphere_point_outward() -> None:
    ball = sphere(3, 5.0)
    assert np.einsum("ij,ij->i", ball.vertex_normals, ball.positions / 5.0).min() > 0.999


def test_laplacian_energy_of_a_linear_function() -> None:
    """x' L x is the integral of |grad x|^2 (Pinkall and Polthier 1993): for x itself on the unit sphere 8 pi / 3, for
    a linear function on a plane exactly the area times its squared slope.
    """
    flat = plane(6, 9, 0.5)
    ramp = flat.positions @ np.array([2.0, -1.0, 0.0])
    assert ramp @ (flat.laplacian @ ramp) == pytest.approx(5.0 * 2.5 * 4.0)
    ball = sphere(4)
    x = ball.positions[:, 0]
    assert x @ (ball.laplacian @ x) == pytest.approx(8 * np.pi / 3, rel=2e-3)


def test_laplacian_is_libigls_on_triangles() -> None:
    igl = pytest.importorskip("igl", reason="libigl is not installed: the Laplacian is not compared with it")
    ball = sphere(2, 40.0)
    theirs = -igl.cotmatrix(ball.positions, np.ascontiguousarray(ball.triangles, dtype=np.int64))
    assert abs(ball.laplacian - theirs).max() < 1e-12
    areas = igl.massmatrix(ball.positions, np.ascontiguousarray(ball.triangles, dtype=np.int64), 0).diagonal()
    assert ball.vertex_areas == pytest.approx(areas)


def test_quads_have_no_favoured_diagonal() -> None:
    """Turning every polygon's first corner changes no operator."""
    tube = cylinder(12, 6, 3.0, 1.3)
    turned = Polygons(tube.polygons.counts, np.roll(tube.polygons.indices.reshape(-1, 4), 1, axis=1).ravel(), 72)
    other = Surface(turned, tube.positions)
    assert abs(tube.laplacian - other.laplacian).max() < 1e-12
    assert tube.vertex_areas == pytest.approx(other.vertex_areas)


def test_bad_positions_are_refused_by_name() -> None:
    with pytest.raises(MoueError, match="8 vertices"):
        Surface(CUBE, np.zeros((7, 3)))
    broken = CUBE_CORNERS.copy()
    broken[3, 1] = np.nan
    with pytest.raises(MoueError, match="vertex 3"):
        Surface(CUBE, broken)


def test_the_caller_keeps_their_array() -> None:
    points = CUBE_CORNERS.copy()
    surface = Surface(CUBE, points)
    points[0] = 9.0
    assert surface.positions[0].tolist() == CUBE_CORNERS[0].tolist()
    assert not surface.positions.flags.writeable
