"""The bend's energy term by term: against a dense solution of its formula, on small sheets."""

from __future__ import annotations

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.fitting.align import Pairs
from composer.fitting.bend import Bend
from composer.fitting.closest import ClosestSurface
from composer.fitting.mark_pulls import MarkPulls
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
SCALE, PRIOR = 5.0 * np.sqrt(2.0), 0.02


def sheet(tilt: float = 0.0) -> np.ndarray:
    y, x = np.meshgrid(np.arange(float(SIDE)), np.arange(float(SIDE)), indexing="ij")
    places = np.stack([x.ravel(), y.ravel(), 0.0 * x.ravel()], axis=1)
    turn = np.array([[np.cos(tilt), 0, np.sin(tilt)], [0, 1, 0], [-np.sin(tilt), 0, np.cos(tilt)]])
    return places @ turn.T


def plane(height: float) -> ClosestSurface:
    wide = 100.0 * np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) + [0.0, 0.0, height]
    return ClosestSurface(wide, np.array([[0, 1, 2], [0, 2, 3]]))


def pairs_of(vertices: list[int], targets: np.ndarray) -> Pairs:
    ids = np.array(vertices, dtype=np.int64)
    return Pairs(tuple(map(str, ids)), sheet()[ids], targets, ids, {})


def bend(height: float, pairs: Pairs, follow: float = 1.0, prior: float = PRIOR) -> Bend:
    head = Head("sheet", grid(SIDE, SIDE), sheet())
    surface = Surface(head.polygons, sheet())
    marks = MarkPulls.of(Skin.of(head), pairs, head.neutral)
    return Bend(surface, surface, plane(height), np.full(N, follow), marks, SCALE, prior)


def dense(wavelength: float, pairs: Pairs, prior: float, plane_weight: np.ndarray, height: float) -> np.ndarray:
    """The least of (l / 2 pi)^6 / p^2 |grad Lap d|^2 + sum of w (n . d - h)^2 + the mean of the landmarks' squares."""
    surface = Surface(grid(SIDE, SIDE), sheet())
    mass = surface.mass / SCALE**2
    mass = np.maximum(mass, 0.05 * np.median(mass))
    lap = surface.laplacian.toarray()
    stiff = (wavelength / (2 * np.pi)) ** 6 / prior**2 * (lap @ np.diag(1 / mass) @ lap @ np.diag(1 / mass) @ lap)
    found = np.zeros((N, 3))
    for axis in range(3):
        left, right = stiff.copy(), np.zeros(N)
        if axis == 2:
            left += np.diag(plane_weight)
            right += plane_weight * height / SCALE
        for vertex, place, target in zip(pairs.vertices, pairs.head, pairs.sculpt, strict=True):
            left[vertex, vertex] += 1 / 3e-4**2 / len(pairs.vertices)
            right[vertex] += (target - place)[axis] / SCALE / 3e-4**2 / len(pairs.vertices)
        found[:, axis] = np.linalg.solve(left, right)
    return found


CORNERS = [0, 5, 30, 35, 14]


@pytest.mark.parametrize("prior", [0.2, 0.02, 0.005])
def test_landmarks_against_stiffness_alone(prior: float) -> None:
    targets = sheet()[CORNERS] + np.array([[0.1, 0, 0], [0, 0.1, 0], [0, 0, 0.2], [0, -0.1, 0], [0.2, 0.1, -0.3]])
    pairs = pairs_of(CORNERS, targets)
    bent = bend(1.0, pairs, follow=0.0, prior=prior)
    bent.fine(0.9, 1e-3, 3)
    np.testing.assert_allclose(
        bent.deviation, dense(0.9, pairs, prior, np.zeros(N), 0.0), atol=0.02 * np.abs(bent.deviation).max()
    )


def test_a_sheet_goes_up_to_the_plane_and_its_landmarks_hold_it_back_in_part() -> None:
    pairs = pairs_of(CORNERS, sheet()[CORNERS] + [0.0, 0.0, 0.05])
    bent = bend(0.1, pairs)
    sigma = 2e-3
    off = np.full(N, 0.1 / SCALE)  # one round: from the sheet as it is
    robust = 1.0 / (1.0 + (off / max(12 * sigma, 3 * off[0])) ** 2) ** 2
    mass = np.maximum(bent.mass, 0.0)
    bent.fine(0.9, sigma, 1)
    expected = dense(0.9, pairs, PRIOR, mass / mass.sum() * robust / sigma**2, 0.1)
    np.testing.assert_allclose(bent.deviation, expected, atol=0.02 * np.abs(expected).max())


@pytest.mark.parametrize("stage", ["coarse", "fine"])
def test_a_sheet_that_nothing_holds_back_reaches_the_plane(stage: str) -> None:
    bent = bend(0.1, pairs_of(CORNERS, sheet()[CORNERS] + [0.0, 0.0, 0.1]))
    done = getattr(bent, stage)(0.9, 1e-3, 3)
    np.testing.assert_allclose(bent.positions, sheet() + [0.0, 0.0, 0.1], atol=1e-3)
    assert done.name == stage and done.matched == N and done.median_mm == pytest.approx(0.0, abs=1e-3)


def test_what_a_plane_weighs() -> None:
    bent = bend(1.0, pairs_of(CORNERS, sheet()[CORNERS]), follow=0.5)
    sigma, near = 1e-3, np.zeros(N)
    for tilt in (0.3, 0.8):  # a sheet turned that far still agrees with the plane; share, freedom and sigma are left
        tilted = sheet(tilt)
        up = np.tile([np.sin(tilt + 0.2), 0.0, np.cos(tilt + 0.2)], (N, 1))
        weight = bent._weights(up, near, np.zeros(N, dtype=bool), tilted, sigma)
        np.testing.assert_allclose(weight, 0.5 * bent.share / sigma**2, rtol=1e-12)
        across = np.tile([np.sin(tilt + 1.3), 0.0, np.cos(tilt + 1.3)], (N, 1))
        assert not bent._weights(across, near, np.zeros(N, dtype=bool), tilted, sigma).any()
    on_border = bent._weights(np.tile([0.0, 0, 1], (N, 1)), near, np.ones(N, dtype=bool), sheet(), sigma)
    assert (on_border > 0).tolist() == bent.border.tolist()  # a border may lie on a border
    far = bent._weights(np.tile([0.0, 0, 1], (N, 1)), np.full(N, SCALE), np.zeros(N, dtype=bool), sheet(), sigma)
    np.testing.assert_allclose(far, 0.5 * bent.share / sigma**2 * 0.81, rtol=1e-12)  # all alike: 1 / (1 + 1/9)^2
    assert bent.share.sum() == pytest.approx(1.0)


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
