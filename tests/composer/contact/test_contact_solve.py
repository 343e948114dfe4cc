"""Laws of the contact solver: against the whole dense system, an independent non-negative solver, and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import lsq_linear, nnls

from composer.contact.across import Across, across
from composer.contact.ball_height import BallHeight
from composer.contact.crossing import parting_rows
from composer.contact.patch import Response
from composer.contact.solve import FIRM, LineRows, PairRows, least_field, not_negative, shortened, within_bounds
from composer.geometry.polygons import Polygons
from composer.geometry.self_crossing import SelfCrossing

seeds = st.integers(0, 2**32 - 1)


def response(rng: np.random.Generator, m: int, k: int) -> Response:
    """A response whose energy is positive definite: pushes at the first k of m places."""
    root = rng.normal(size=(m, m))
    whole = root @ root.T / m + np.eye(m)
    return Response(np.arange(k), whole[:, :k])


def directions(rng: np.random.Generator, count: int) -> np.ndarray:
    found = rng.normal(size=(count, 3))
    return found / np.linalg.norm(found, axis=1)[:, None]


@given(seed=seeds)
@settings(max_examples=20)
def test_pairs_and_lines_together_give_the_answer_of_the_whole_dense_system(seed: int) -> None:
    rng = np.random.default_rng(seed)
    answer = response(rng, 14, 10)
    place = Across(np.arange(4), rng.integers(4, 10, (4, 3)), rng.dirichlet(np.ones(3), 4))
    pairs = PairRows(place, rng.normal(size=(4, 3)), rng.uniform(0.1, 1.0, 4))
    lines = LineRows(np.array([1, 7, 8]), None, directions(rng, 3), rng.normal(size=3), rng.uniform(0.1, 1.0, 3))
    take = np.zeros((7, 10))
    take[np.arange(4), np.arange(4)] = 1.0
    for row in range(4):
        np.add.at(take[row], place.corners[row], -place.share[row])
    take[4 + np.arange(3), lines.vertices] = 1.0
    rows = [(row, axis, pairs.lack[row] @ axis, pairs.counts[row]) for row in range(4) for axis in np.eye(3)]
    rows += [(4 + i, lines.directions[i], lines.lack[i], lines.counts[i]) for i in range(3)]
    system = np.array([[(take[a] @ answer.energy @ take[b]) * (n @ o) for b, o, _, _ in rows] for a, n, _, _ in rows])
    system += np.diag([FIRM / count for *_, count in rows])
    pull = np.linalg.solve(system, [lack for _, _, lack, _ in rows])
    push = sum(p * np.outer(take[a], n) for p, (a, n, _, _) in zip(pull, rows, strict=True))
    np.testing.assert_allclose(least_field(answer, pairs, lines), answer.field @ push, atol=1e-9)


@given(seed=seeds)
@settings(max_examples=20)
def test_multipliers_are_those_of_an_independent_non_negative_solver(seed: int) -> None:
    """min x'Ax/2 - b'x over x >= 0 is the non-negative least squares of the Cholesky factor (scipy's nnls)."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(9, 9))
    matrix, wanted = root @ root.T + 0.1 * np.eye(9), rng.normal(size=9)
    factor = np.linalg.cholesky(matrix)
    known, _ = nnls(factor.T, np.linalg.solve(factor, wanted))
    np.testing.assert_allclose(not_negative(matrix, wanted), known, atol=1e-6)


@given(seed=seeds)
@settings(max_examples=20)
def test_multipliers_within_bounds_are_those_of_an_independent_solver(seed: int) -> None:
    """The same over 0 <= x <= u as bounded least squares (scipy's lsq_linear), from any guess."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(12, 12))
    matrix, wanted = root @ root.T + 0.1 * np.eye(12), rng.normal(size=12)
    most = np.where(rng.uniform(size=12) < 0.2, np.inf, rng.uniform(0.02, 1.0, 12))
    factor = np.linalg.cholesky(matrix)
    known = lsq_linear(factor.T, np.linalg.solve(factor, wanted), (0.0, most), tol=1e-13, max_iter=1000).x
    for begin in (None, rng.uniform(0.0, 1.0, 12)):
        np.testing.assert_allclose(within_bounds(matrix, wanted, most, begin=begin), known, atol=1e-6)


@given(seed=seeds)
@settings(max_examples=30)
def test_what_is_shortened_moves_no_further_than_it_may_and_no_less_than_needed(seed: int) -> None:
    rng = np.random.default_rng(seed)
    plain, correction = rng.normal(size=(20, 3)), rng.normal(0.0, 4.0, (20, 3))
    most = np.linalg.norm(plain, axis=1) * rng.uniform(1.0, 2.0, 20)
    short = shortened(plain, correction, most)
    length = np.linalg.norm(plain + short, axis=1)
    assert (length <= most * (1 + 1e-9)).all()
    whole = np.linalg.norm(plain + correction, axis=1) <= most
    np.testing.assert_allclose(short[whole], correction[whole], atol=1e-9)
    np.testing.assert_allclose(length[~whole], most[~whole], rtol=1e-7)


def test_height_above_a_round_ball_is_the_distance_less_the_radius() -> None:
    """With a sheet of vertices beneath the surface, as an iris under a cornea, that must not count."""
    rng = np.random.default_rng(3)
    ball = 12.0 * directions(rng, 3000)
    iris = 10.0 * directions(rng, 4000)
    iris = iris[iris[:, 2] > 9.0]
    over = BallHeight(np.concatenate([ball, iris]))
    places = directions(rng, 200) * rng.uniform(8.0, 20.0, 200)[:, None]
    np.testing.assert_allclose(over(places), np.linalg.norm(places, axis=1) - 12.0, atol=1e-6)


def test_a_place_across_reproduces_the_other_side_where_it_meets_it() -> None:
    rng = np.random.default_rng(5)
    points = rng.normal(size=(30, 3))
    points[0] = points[20]
    found = across(points, np.array([0, 1]), np.arange(10, 30))
    np.testing.assert_allclose(found.share.sum(axis=1), 1.0)
    np.testing.assert_allclose(found.gaps(points)[0], 0.0, atol=1e-6)


def test_a_corner_that_is_through_is_asked_back_along_the_other_face() -> None:
    """A corner of one triangle lies 0.3 mm behind another that faces it: it lacks that, and a tenth of the most."""
    points = np.array([[-9, -9, 0], [9, -9, 0], [0, 9, 0], [0, 0, -0.3], [1, 3, 2], [-1, 3, 2]], dtype=float)
    triangles = np.array([[0, 1, 2], [3, 5, 4]])
    test = SelfCrossing(Polygons(np.full(2, 3), triangles.ravel(), 6))
    pairs = test.pairs(points)
    assert test.count(pairs) == 2
    normal = np.cross(points[5] - points[3], points[4] - points[3])
    facing = normal[2] < 0.0
    if not facing:
        triangles = np.array([[0, 1, 2], [3, 4, 5]])
    rows = parting_rows(points, triangles, pairs, np.ones(6, dtype=bool), 1.0)
    on = rows.vertices == 3
    assert on.sum() == 1
    assert rows.lack[on][0] == pytest.approx(0.4)
    np.testing.assert_allclose(rows.directions[on][0], [0, 0, 1], atol=1e-12)
