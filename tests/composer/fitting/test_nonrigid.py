"""Terms of the fit on small sheets: conjugate gradients, smoothing, the sculpt's own detail, marks of the skin."""

from __future__ import annotations

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.fitting.align import Pairs
from composer.fitting.closest import ClosestSurface
from composer.fitting.nonrigid import fit
from composer.fitting.own_detail import own_detail, smoothed
from composer.fitting.skin import Skin, skin_marks
from composer.geometry.conjugate_gradients import conjugate_gradients
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.head import Head, Part
from tests.small_heads import grid

SIDE = 6
N = SIDE * SIDE


def sheet(tilt: float = 0.0) -> np.ndarray:
    y, x = np.meshgrid(np.arange(float(SIDE)), np.arange(float(SIDE)), indexing="ij")
    places = np.stack([x.ravel(), y.ravel(), 0.0 * x.ravel()], axis=1)
    turn = np.array([[np.cos(tilt), 0, np.sin(tilt)], [0, 1, 0], [-np.sin(tilt), 0, np.cos(tilt)]])
    return places @ turn.T


def test_conjugate_gradients_end_after_as_many_steps_as_there_are_unknowns() -> None:
    matrix = np.array([[4.0, 1, 0], [1, 3, 1], [0, 1, 2]])
    exact = np.array([[1.0, -2], [2, 0.5], [-1, 3]])
    found, steps = conjugate_gradients(
        lambda x: matrix @ x, matrix @ exact, np.zeros((3, 2)), lambda r: r / np.diag(matrix)[:, None], 60, 1e-12
    )
    assert steps <= 6  # three unknowns in each of two columns
    np.testing.assert_allclose(found, exact, atol=1e-9)
    started = conjugate_gradients(lambda x: matrix @ x, matrix @ exact, exact, lambda r: r, 9)
    assert started[1] == 0 and (started[0] == exact).all()
    assert conjugate_gradients(lambda x: matrix @ x, matrix @ exact, 0 * exact, lambda r: r, 1, 1e-12)[1] == 1


def test_smoothing_is_one_step_of_diffusion_whatever_the_triangles_sizes() -> None:
    places = sheet() * [30.0, 1.0, 1.0]
    places[:, 0] = 0.01 * 2.0 ** (2.0 * sheet()[:, 0])  # from 0.01 to 10 mm
    surface, values = Surface(grid(SIDE, SIDE), places), np.random.default_rng(1).normal(size=(N, 2))
    left = np.diag(surface.mass) + 0.5 * 0.7**2 * surface.laplacian.toarray()
    expected = np.linalg.solve(left, surface.mass[:, None] * values)
    np.testing.assert_allclose(smoothed(surface, values, 0.7, 25), expected, atol=0.02)


def bumpy(amount: float) -> np.ndarray:
    return sheet() + amount * np.where((np.arange(N) % 2 == 0)[:, None], 1.0, -1.0) * [0.0, 0.0, 1.0]


def test_a_surface_has_no_detail_of_its_own_beside_itself() -> None:
    triangles = grid(SIDE, SIDE).triangles
    polygons = Polygons(np.full(len(triangles), 3), triangles.ravel(), N)
    surface, itself = Surface(polygons, bumpy(0.1)), ClosestSurface(bumpy(0.1), triangles)
    assert own_detail(surface, itself, np.zeros(N), 100.0) == pytest.approx(0.0, abs=1e-12)
    assert own_detail(surface, ClosestSurface(bumpy(-0.1), triangles), np.zeros(N), 100.0) > 1e-4
    assert own_detail(surface, itself, np.ones(N), 100.0) == 0.0


@pytest.mark.parametrize("size", [0.2, 7.0])
def test_the_sculpt_s_own_detail_is_in_its_own_millimetres(size: float) -> None:
    polygons, unit = cube_sphere(5, seed=1)
    head = Head("ball", polygons, 100.0 * unit / np.linalg.norm(unit, axis=1)[:, None])
    rough = head.neutral * (1.0 + 0.02 * np.random.default_rng(2).normal(size=(head.n_vertices, 1)))
    ids = np.arange(0, head.n_vertices, 9)

    def detail(scale: float) -> float:
        sculpt = ClosestSurface(scale * rough, polygons.triangles)
        pairs = Pairs(tuple(map(str, ids)), head.neutral[ids], scale * head.neutral[ids], ids, {})
        return fit(head, sculpt, pairs, settled=False).own_detail

    one = detail(1.0)
    assert one > 0.0 and detail(size) == pytest.approx(size * one, rel=1e-6)


def test_landmarks_on_parts_are_no_marks_of_the_skin() -> None:
    polygons = Polygons.from_faces([[0, 1, 2], [3, 4, 5], [5, 4, 6]], 7)
    head = Head("two", polygons, np.random.default_rng(0).normal(size=(7, 3)), parts=(Part("eye_left", np.arange(3)),))
    ids = np.array([1, 4, -1, 6])
    pairs = Pairs(tuple("abcd"), np.zeros((4, 3)), np.arange(12.0).reshape(4, 3), ids, {})
    skin = Skin.of(head)
    assert skin.vertices.tolist() == [3, 4, 5, 6] and skin.rank.tolist() == [-1, -1, -1, 0, 1, 2, 3]
    at, places = skin_marks(skin, pairs)
    assert at.tolist() == [1, 3] and places.tolist() == [[3.0, 4, 5], [9.0, 10, 11]]
