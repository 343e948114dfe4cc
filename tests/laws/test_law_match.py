"""The laws of matching: planted weights come back where columns are independent, elsewhere the pose does.

scipy.optimize.nnls and lsq_linear, on the dense columns, are the independent solvers.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import lsq_linear, nnls

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import Shape
from composer.mixing import match, match_block
from composer.mixing.linear import Mixer
from composer.mixing.match import Bounds, Columns
from composer.mixing.match_bounded import Quadratic, bounded
from composer.mixing.recipe import Cell, Recipe
from tests.small_heads import grid, polygon_meshes, random_head, random_masks

REGIONS = ["brow", "mouth", "jaw"]
seeds = st.integers(0, 2**32 - 1)
law = settings(deadline=None, max_examples=50)


def columns_of(rng: np.random.Generator, polygons: Polygons, shapes: int = 4) -> Columns:
    head = random_head(rng, polygons, shapes)
    return Columns(Mixer(head, random_masks(rng, head.n_vertices, REGIONS)), REGIONS, head.shape_names)


def dense(columns: Columns) -> NDArray[np.float64]:
    """(3 n, k) A by hand: mask times delta."""
    mixer = columns.mixer
    made = [mixer.masks[r][:, None] * mixer.head.shape(s).delta.astype(np.float64) for r, s, _ in columns.keys]
    return np.stack([one.ravel() for one in made], axis=1)


def recipe_of(columns: Columns, weights: NDArray) -> Recipe:
    return Recipe("planted", tuple(Cell(r, s, float(w)) for (r, s, _), w in zip(columns.keys, weights, strict=True)))


@law
@given(polygon_meshes(), seeds, st.booleans())
def test_columns_held_and_made_part_by_part_are_the_dense_ones(polygons: Polygons, seed: int, held: bool) -> None:
    """A'A, A'b and A x against numpy's products of the dense columns."""
    rng = np.random.default_rng(seed)
    with pytest.MonkeyPatch.context() as patch:
        if not held:
            patch.setattr(match, "HELD_BYTES", 0)
            patch.setattr(match_block, "PART_BYTES", 24 * 4 * 3)  # three vertices of four shapes
        columns = columns_of(rng, polygons)
        a, b = dense(columns), rng.normal(size=columns.mixer.head.neutral.shape)
        np.testing.assert_allclose(columns.gram, a.T @ a, atol=1e-9 * max(1.0, np.abs(a).max() ** 2 * len(a)))
        np.testing.assert_allclose(columns.onto(b), a.T @ b.ravel(), atol=1e-9 * max(1.0, np.abs(a).max() * len(a)))
        weights = rng.uniform(0.0, 1.0, len(columns.keys)) * (rng.random(len(columns.keys)) < 0.5)
        np.testing.assert_allclose(columns.displacement(weights).ravel(), a @ weights, atol=1e-9 * max(1.0, a.max()))


@law
@given(polygon_meshes(), seeds, st.sampled_from([(0.0, 1.0), (-0.5, 1.0), (-1.0, 2.0)]))
def test_planted_weights_come_back(polygons: Polygons, seed: int, span: tuple[float, float]) -> None:
    """match(mix(W)) = W for adding rows of plain shapes, W in bounds, W[all] = 0, independent columns."""
    rng = np.random.default_rng(seed)
    columns = columns_of(rng, polygons, 2)
    alive = columns.alive
    assume(alive.any() and np.linalg.cond(dense(columns)[:, alive]) < 1e3)
    planted = np.where(rng.random(len(alive)) < 0.5, 0.0, rng.uniform(*span, size=len(alive))) * alive
    b = columns.mixer.displacement(recipe_of(columns, planted))
    found = columns.weights(columns.onto(b), Bounds(*span))
    np.testing.assert_allclose(found, planted, atol=1e-4)


@law
@given(polygon_meshes(), seeds)
def test_where_columns_depend_the_pose_comes_back(polygons: Polygons, seed: int) -> None:
    """A third shape is the sum of the first two, a fourth the first again."""
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 2)
    one, two = head.shapes[0].delta, head.shapes[1].delta
    head = head.with_(shapes=(*head.shapes, Shape("both", one + two), Shape("again", one)))
    columns = Columns(Mixer(head, random_masks(rng, head.n_vertices, REGIONS)), REGIONS, head.shape_names)
    b = columns.mixer.displacement(recipe_of(columns, rng.uniform(0, 1, size=len(columns.keys))))
    found = columns.weights(columns.onto(b), Bounds())
    np.testing.assert_allclose(columns.displacement(found), b, atol=1e-4 * head.diagonal)
    if columns.alive.any() and (columns.lengths[[0, 1, 2]] > 0).all():
        assert columns.conditioning.dependent > 0 and columns.conditioning.number == np.inf


@law
@given(polygon_meshes(), seeds)
def test_it_is_as_near_as_nnls_and_lsq_linear(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    columns = columns_of(rng, polygons)
    a, head = dense(columns), columns.mixer.head
    b = rng.normal(scale=0.1 * head.diagonal, size=head.neutral.shape)
    for bounds, reference in (
        (Bounds(0.0, 1.0), lsq_linear(a, b.ravel(), (0.0, 1.0), tol=1e-14).x),
        (Bounds(-1.0, 2.0), lsq_linear(a, b.ravel(), (-1.0, 2.0), tol=1e-14).x),
    ):
        found = columns.weights(columns.onto(b), bounds)
        assert bounds.low <= found.min() and found.max() <= bounds.high
        ours, theirs = (float(np.linalg.norm(a @ x - b.ravel())) for x in (found, reference))
        assert ours <= theirs * (1.0 + 1e-6)
    small = 1e-3 * b  # so small that no upper bound is met: then it is the one that is only not negative
    ours = float(np.linalg.norm(a @ columns.weights(columns.onto(small), Bounds()) - small.ravel()))
    free, theirs = nnls(a, small.ravel())
    assume(free.max(initial=0.0) <= 1.0)
    assert ours <= theirs * (1.0 + 1e-6)


@law
@given(seeds, st.integers(1, 25))
def test_the_bounded_least_satisfies_the_optimality_conditions(seed: int, m: int) -> None:
    """Gradient 0 inside, pushing outwards at a bound; and the same from any start."""
    rng = np.random.default_rng(seed)
    half = rng.normal(size=(m + 3, m))
    h, c = half.T @ half + 0.1 * np.eye(m), 3.0 * rng.normal(size=m)
    low = rng.uniform(-1, 0, size=m)
    high = low + rng.choice([0.0, 0.5, 2.0], size=m)
    problem = Quadratic(lambda y: h @ y, lambda free, g: np.linalg.solve(h[np.ix_(free, free)], g), c)
    y = bounded(problem, low, high, rng.normal(size=m))
    assert np.all((low <= y) & (y <= high))
    g = h @ y - c
    slack = 1e-7 * (1.0 + np.abs(c).max())
    inside = (y > low) & (y < high)
    assert np.all(np.abs(g[inside]) < slack)
    assert np.all(g[(y == low) & (low < high)] > -slack) and np.all(g[(y == high) & (low < high)] < slack)
    np.testing.assert_allclose(bounded(problem, low, high, problem.unbounded()), y, atol=1e-6)


@law
@given(polygon_meshes(), seeds)
def test_from_anywhere_the_answer_is_the_same(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    columns = columns_of(rng, polygons, 2)
    assume(columns.alive.any() and np.linalg.cond(dense(columns)[:, columns.alive]) < 1e3)
    c = columns.onto(rng.normal(scale=10.0, size=columns.mixer.head.neutral.shape))
    cold = columns.weights(c, Bounds())
    np.testing.assert_allclose(columns.weights(c, Bounds(), rng.random(len(cold))), cold, atol=1e-5)


@law
@given(polygon_meshes(), seeds)
def test_cells_that_are_not_allowed_stay_at_zero_and_tied_ones_agree(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    columns = columns_of(rng, polygons)
    k = len(columns.keys)
    allowed, ties = rng.random(k) < 0.7, [(0, 4), (4, 8), (1, 5)]
    b = rng.normal(scale=10.0, size=columns.mixer.head.neutral.shape)
    found = columns.weights(columns.onto(b), Bounds(), None, allowed, ties)
    assert not found[~allowed].any()
    usable = allowed & columns.alive
    for i, j in ((0, 4), (4, 8), (1, 5)):
        assert found[i] == found[j] or not (usable[i] and usable[j])
    if usable[[0, 4, 8]].all():
        a = dense(columns)
        gathered = np.delete(a, [4, 8, 5] if usable[[1, 5]].all() else [4, 8], axis=1)
        gathered[:, 0] += a[:, 4] + a[:, 8]
        if usable[[1, 5]].all():
            gathered[:, 1] += a[:, 5]
        keep = np.delete(usable, [4, 8, 5] if usable[[1, 5]].all() else [4, 8])
        best = lsq_linear(gathered[:, keep], b.ravel(), (0.0, 1.0), tol=1e-14).x
        theirs = float(np.linalg.norm(gathered[:, keep] @ best - b.ravel()))
        assert float(np.linalg.norm(a @ found - b.ravel())) <= theirs * (1.0 + 1e-6)


def test_sparse_finds_the_planted_cells_among_many() -> None:
    rng = np.random.default_rng(11)
    columns = columns_of(rng, grid(12, 12), 8)
    planted = np.zeros(len(columns.keys))
    planted[[2, 9, 17]] = [0.7, 0.4, 1.0]
    b = columns.displacement(planted) + 0.01 * rng.normal(size=columns.mixer.head.neutral.shape)
    many, few = (columns.weights(columns.onto(b), Bounds(sparse=s)) for s in (0.0, 0.05))
    assert np.count_nonzero(many) > 6 and np.flatnonzero(few).tolist() == [2, 9, 17]
    np.testing.assert_allclose(few, planted, atol=1e-3)
    signed = columns.weights(columns.onto(-b), Bounds(-1.0, 1.0, 0.05))
    np.testing.assert_allclose(signed, -planted, atol=1e-3)


def test_only_the_vertices_that_count_are_matched() -> None:
    rng = np.random.default_rng(2)
    head = random_head(rng, grid(6, 6), 2)
    mixer, seen = Mixer(head, random_masks(rng, head.n_vertices, REGIONS)), np.arange(18)
    columns = Columns(mixer, REGIONS, head.shape_names, seen)
    whole = dense(columns).reshape(-1, 3, len(columns.keys))[seen].reshape(-1, len(columns.keys))
    np.testing.assert_allclose(columns.gram, whole.T @ whole, atol=1e-9 * np.abs(columns.gram).max())
    b = rng.normal(size=head.neutral.shape)
    np.testing.assert_allclose(columns.onto(b), whole.T @ b[seen].ravel(), atol=1e-9 * head.diagonal**2)


def test_what_moves_nothing_is_said_and_left_alone() -> None:
    head = random_head(np.random.default_rng(4), grid(3, 3), 2)
    still = head.with_(shapes=(*head.shapes, Shape("still", np.zeros((9, 3), np.float32))))
    columns = Columns(Mixer(still, {"brow": np.ones(9)}), ["brow"], still.shape_names)
    assert columns.conditioning.dead == 1 and "1 of them move nothing" in columns.conditioning.words
    assert columns.weights(columns.onto(np.ones((9, 3))), Bounds())[2] == 0.0


@pytest.mark.parametrize("bounds", [(0.2, 1.0), (0.0, 0.0), (-2.0, 1.0), (0.0, 3.0), (0.0, 1.0, 1.0), (0.0, 1.0, -0.1)])
def test_bounds_that_make_no_sense_are_refused(bounds: tuple[float, ...]) -> None:
    with pytest.raises(MoueError, match="cannot be matched|sparse"):
        Bounds(*bounds)
