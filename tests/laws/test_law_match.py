"""The laws of matching: planted weights come back where columns are independent, elsewhere the pose does.

scipy.optimize.nnls and lsq_linear, on the dense columns, are the independent solvers; a drag is held against the
closed form of Lewis and Anjyo 2010 (regularised normal equations) where no bound is met.
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
from composer.head.head import Head, InBetween, Shape
from composer.head.places import SurfacePoint
from composer.head.symmetry import MirrorMap
from composer.mixing.corrective import Corrective, Trigger
from composer.mixing.hinge import Hinge
from composer.mixing.linear import Mixer
from composer.mixing.match import Bounds, Columns
from composer.mixing.match_bounded import Quadratic, bounded
from composer.mixing.match_drag import STAY, Drag
from composer.mixing.recipe import Cell, Recipe, Row
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


# Points that are pulled.


def drag_on(rng: np.random.Generator, head: Head, places: list) -> Drag:
    return Drag(Mixer(head, random_masks(rng, head.n_vertices, REGIONS)), REGIONS, head.shape_names, places)


def points(drag: Drag, recipe: Recipe, places: list) -> NDArray[np.float64]:
    pose = drag.mixer.pose(recipe)
    return np.array([p.bary @ pose[list(p.triangle)] if isinstance(p, SurfacePoint) else pose[p] for p in places])


def with_weights(recipe: Recipe, weights: dict) -> Recipe:
    held = {c.key: c for c in recipe.cells} | {key: Cell(*key[:2], w, key[2]) for key, w in weights.items()}
    return recipe.with_(cells=tuple(held.values()))


@law
@given(polygon_meshes(), seeds)
def test_a_pull_is_the_closed_form_where_no_bound_is_met(polygons: Polygons, seed: int) -> None:
    """delta = (J'J + a I)^-1 J'r (Lewis and Anjyo 2010, equation 4), J by hand from masks and deltas."""
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3)
    drag = drag_on(rng, head, [1])
    recipe = Recipe("r", (Cell("brow", "shape_0", 0.5), Cell("all", "shape_1", 0.3)), {"mouth": Row("add", 0.5)}, 0.8)
    share = {r: drag.mixer.shares(recipe).get(r, drag.mixer.masks[r])[1] for r in REGIONS}
    j = 0.8 * np.stack([share[r] * head.shape(s).delta[1].astype(np.float64) for r, s, _ in drag.keys], axis=1)
    stay = STAY * np.trace(j @ j.T) / 3.0
    assume(stay > 0)
    r = 1e-3 * rng.normal(size=3)
    delta = np.linalg.solve(j.T @ j + stay * np.eye(len(drag.keys)), j.T @ r)
    found = drag.weights(recipe, points(drag, recipe, [1]) + r, bounds=Bounds(-1.0, 1.0))
    begin = np.array([0.5 if key == ("brow", "shape_0", False) else 0.0 for key in drag.keys])
    np.testing.assert_allclose([found[key] for key in drag.keys], begin + delta, atol=1e-6)


def test_pulled_points_arrive_and_locked_cells_stay() -> None:
    """Through a hinge, an in-between, a mirrored cell, a small corrective and a row that replaces, on forty heads.

    Never further away than before, and all but there on most: where kinks lie on the way, what is left is the work of
    the next move.
    """
    left = [pulled(seed) for seed in range(40)]
    assert max(left) < 1.0 and np.percentile(left, 50) < 0.01 and np.percentile(left, 85) < 0.1


def pulled(seed: int) -> float:
    """What is left of the way of two points after one pull, as a part of it."""
    rng = np.random.default_rng(seed)
    head = random_head(rng, grid(4, 5), 6)
    first, *others, fix = head.shapes
    first = Shape("shape_0", first.delta, (InBetween(0.5, np.float32(0.45) * first.delta),))
    head = head.with_(shapes=(first, *others, Shape("shape_5", np.float32(0.1) * fix.delta)))
    hinge = Hinge(rng.normal(size=3), head.neutral[0], 0.4, rng.random(head.n_vertices).astype(np.float32))
    place = SurfacePoint((6, 7, 12), (0.2, 0.5, 0.3))
    places = [place, 3]
    masks = {region: 0.2 + 0.8 * rng.random(head.n_vertices) for region in REGIONS}
    mixer = Mixer(
        head, masks, hinges={"shape_1": hinge}, mirror=MirrorMap.of_partners(np.arange(head.n_vertices)[::-1]),
        correctives=(Corrective("shape_5", (Trigger("brow", "shape_0", 0.7),)),),
    )  # fmt: skip
    drag = Drag(mixer, REGIONS, head.shape_names, places)
    cells = (Cell("brow", "shape_0", 0.35), Cell("mouth", "shape_2", 0.4, True), Cell("all", "shape_3", 0.3),
             Cell("jaw", "shape_4", 0.2))  # fmt: skip
    recipe = Recipe("r", cells, {"jaw": Row("replace", 0.6)})
    to = points(drag, recipe, places) + 0.1 * rng.normal(size=(2, 3))
    locked = [("jaw", "shape_4", False)]
    found = drag.weights(recipe, to, locked, Bounds(-1.0, 2.0))
    assert found["jaw", "shape_4", False] == 0.2
    assert all(-1.0 <= w <= 2.0 for w in found.values())
    after = points(drag, with_weights(recipe, found), places)
    return float(np.linalg.norm(after - to) / np.linalg.norm(to - points(drag, recipe, places)))


@law
@given(seeds)
def test_a_point_where_it_is_wanted_changes_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, grid(3, 4), 3)
    drag = drag_on(rng, head, [5])
    recipe = Recipe("r", (Cell("brow", "shape_0", 1.4), Cell("jaw", "shape_1", -0.2)))
    found = drag.weights(recipe, points(drag, recipe, [5]))
    assert found["brow", "shape_0", False] == pytest.approx(1.4)  # out of bounds already: it may stay
    assert found["jaw", "shape_1", False] == pytest.approx(-0.2)
    assert sum(map(abs, found.values())) == pytest.approx(1.6)


def test_weights_stay_in_bounds_however_far_a_point_is_pulled() -> None:
    rng = np.random.default_rng(8)
    head = random_head(rng, grid(4, 4), 4)
    drag = drag_on(rng, head, [5, 6])
    found = drag.weights(Recipe("r"), head.neutral[[5, 6]] + 1e4)
    assert min(found.values()) >= 0.0 and max(found.values()) == 1.0


def test_places_that_are_none_are_refused() -> None:
    head = random_head(np.random.default_rng(8), grid(4, 4), 1)
    mixer = Mixer(head, {})
    with pytest.raises(MoueError, match="vertex 99 is not on this head of 16"):
        Drag(mixer, ["all"], ["shape_0"], [99])
    with pytest.raises(MoueError, match="three finite numbers"):
        Drag(mixer, ["all"], ["shape_0"], [3]).weights(Recipe("r"), np.full((1, 3), np.nan))
