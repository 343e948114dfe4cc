"""The laws of correctives: each fix at its own pose, together where triggers overlap, refused where they make no sense.

The small examples are worked by hand from k = product of clamp(w / at, 0, 1) and K C = R.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import Head, Shape
from composer.mixing.active import LivePose
from composer.mixing.corrective import Corrective, Correctives, Trigger, felt_in, overlaps, triggers_of
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe, Row
from tests.small_heads import grid, polygon_meshes, random_head, random_masks

REGIONS = ["brow", "mouth"]
BASE = ["shape_0", "shape_1", "shape_2"]
seeds = st.integers(0, 2**32 - 1)
law = settings(deadline=None, max_examples=60)


def fixed_head(rng: np.random.Generator, polygons: Polygons, fixes: int) -> Head:
    """Three shapes, and fixes that move about half of the vertices."""
    head = random_head(rng, polygons, len(BASE) + fixes)
    renamed = tuple(Shape(f"fix_{i}", shape.delta) for i, shape in enumerate(head.shapes[len(BASE) :]))
    return head.with_(shapes=(*head.shapes[: len(BASE)], *renamed))


def random_triggers(rng: np.random.Generator, most: int = 3) -> tuple[Trigger, ...]:
    keys = [(region, shape) for region in ["all", *REGIONS] for shape in BASE]
    chosen = rng.permutation(len(keys))[: rng.integers(1, most + 1)]
    return tuple(Trigger(*keys[i], float(rng.choice([0.3, 0.5, 0.8, 1.0, 1.5, -0.4]))) for i in chosen)


def own_pose(corrective: Corrective, rows: dict[str, Row] | None = None, strength: float = 1.0) -> Recipe:
    """The recipe of a corrective's triggers, each cell felt at its `at`."""
    cells = tuple(Cell(t.region, t.shape, t.at, t.mirrored) for t in corrective.triggers)
    return Recipe(corrective.shape, cells, rows or {}, strength)


def some_correctives(rng: np.random.Generator, count: int) -> tuple[Corrective, ...]:
    given = tuple(Corrective(f"fix_{i}", random_triggers(rng)) for i in range(count))
    assume(np.linalg.cond(overlaps(given)) < 1e4)
    return given


@law
@given(polygon_meshes(), seeds)
def test_every_fix_returns_at_its_own_pose(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head, given_ = fixed_head(rng, polygons, 4), some_correctives(rng, 4)
    masks = random_masks(rng, head.n_vertices, REGIONS)
    plain, mixer = Mixer(head, masks), Mixer(head, masks, correctives=given_)
    for corrective in given_:
        recipe = own_pose(corrective, strength=0.7)
        sculpt = plain.pose(recipe) + 0.7 * head.shape(corrective.shape).delta.astype(np.float64)
        np.testing.assert_allclose(mixer.pose(recipe), sculpt, rtol=0, atol=1e-9 * head.diagonal)


@law
@given(polygon_meshes(), seeds)
def test_without_its_triggers_nothing_comes_in(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head, given_ = fixed_head(rng, polygons, 3), some_correctives(rng, 3)
    masks = random_masks(rng, head.n_vertices, REGIONS)
    turned = tuple(Cell(t.region, t.shape, -0.5 * t.at) for t in given_[0].triggers)
    mixer = Mixer(head, masks, correctives=given_[:1])
    for recipe in (Recipe("none"), Recipe("turned", turned)):
        assert mixer.pose(recipe).tobytes() == Mixer(head, masks).pose(recipe).tobytes()


@law
@given(seeds)
def test_k_lies_in_the_unit_interval_and_never_falls_as_a_trigger_grows(seed: int) -> None:
    rng = np.random.default_rng(seed)
    corrective = Corrective("fix", random_triggers(rng))
    share = np.sort(rng.uniform(-0.5, 1.5, size=12))
    ats = {t.key: t.at for t in corrective.triggers}
    k = [corrective.weight(lambda key, s=s: s * ats[key]) for s in share]
    assert min(k) >= 0.0 and max(k) <= 1.0
    assert np.all(np.diff(k) >= 0.0)
    np.testing.assert_allclose(k, np.clip(share, 0, 1) ** len(ats), atol=1e-12)


@law
@given(seeds)
def test_the_order_of_correctives_does_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    given_ = some_correctives(rng, 4)
    felt = felt_in(Recipe("r", tuple(Cell(r, s, float(rng.uniform(-1, 2))) for r in ["all", *REGIONS] for s in BASE)))
    ours, theirs = Correctives(given_).amounts(felt), Correctives(given_[::-1]).amounts(felt)
    for name in {*ours, *theirs}:
        assert ours.get(name, 0.0) == pytest.approx(theirs.get(name, 0.0), abs=1e-8)


@law
@given(polygon_meshes(), seeds)
def test_live_edits_stay_with_fresh_evaluations(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head, given_ = fixed_head(rng, polygons, 3), some_correctives(rng, 3)
    mixer = Mixer(head, random_masks(rng, head.n_vertices, REGIONS), correctives=given_)
    live = LivePose(mixer, own_pose(given_[0]) if rng.random() < 0.5 else Recipe("live"))
    for _ in range(20):
        region, shape = str(rng.choice(["all", *REGIONS])), str(rng.choice(BASE))
        before = live.positions.copy()
        match rng.integers(6):
            case 0:
                touched = live.set_row(region, Row("add", float(rng.choice([0.0, 0.5, 1.0]))))
            case 1:
                touched = live.set_recipe(own_pose(given_[int(rng.integers(3))], strength=0.6))
            case 2:
                live.release()
                touched = (0, 0)
            case _:
                touched = live.set_weight(region, shape, float(rng.choice([0.0, 0.8, rng.uniform(-1, 2)])))
        np.testing.assert_allclose(live.positions, mixer.pose(live.recipe), rtol=0, atol=1e-5 * head.diagonal)
        changed = np.flatnonzero((live.positions != before).any(axis=1))
        assert len(changed) == 0 or (touched[0] <= changed[0] and changed[-1] < touched[1])
        assert set(live.weights) <= set(live.columns)
        summed = live.displacement32() + head.neutral
        np.testing.assert_allclose(summed, mixer.pose(live.recipe), rtol=0, atol=1e-5 * head.diagonal)
    assert live.rebase().tobytes() == mixer.pose(live.recipe).tobytes()


def test_two_that_overlap_worked_by_hand() -> None:
    """Fix a at x = 1; fix b at x = 1, y = 1. At b's pose a is in too: K = [[1, 0], [1, 1]], C_a = R_a, C_b = R_b - R_a.

    So at x = 1, y = 0.5 the pose gets R_a + 0.5 (R_b - R_a), half of each.
    """
    a = Corrective("a", (Trigger("all", "x", 1.0),))
    b = Corrective("b", (Trigger("all", "x", 1.0), Trigger("all", "y", 1.0)))
    np.testing.assert_array_equal(overlaps([a, b]), [[1, 0], [1, 1]])
    half = Recipe("half", (Cell("all", "x", 1.0), Cell("all", "y", 0.5)))
    assert Correctives([a, b]).weights(felt_in(half)) == {"a": 1.0, "b": 0.5}
    assert Correctives([a, b]).amounts(felt_in(half)) == pytest.approx({"a": 0.5, "b": 0.5})
    whole = half.with_(cells=(Cell("all", "x", 1.0), Cell("all", "y", 1.0)))
    assert Correctives([a, b]).amounts(felt_in(whole)) == pytest.approx({"b": 1.0})


def test_one_cell_at_two_weights_worked_by_hand() -> None:
    """Fixes at x = 0.5 and x = 1: K = [[1, 0.5], [1, 1]], K^-1 = [[2, -1], [-2, 2]]. At 0.75, k = (1, 0.75), a = k K^-1
    = (0.5, 0.5): half way between the two, as it should be.
    """
    low, high = (Corrective(name, (Trigger("all", "x", at),)) for name, at in (("low", 0.5), ("high", 1.0)))
    felt = felt_in(Recipe("r", (Cell("all", "x", 0.75),)))
    assert Correctives([low, high]).amounts(felt) == pytest.approx({"low": 0.5, "high": 0.5})


def test_a_muted_row_triggers_nothing() -> None:
    one = Corrective("a", (Trigger("brow", "x", 0.8),))
    recipe = Recipe("r", (Cell("brow", "x", 0.8),), {"brow": Row("add", 0.0)})
    assert Correctives([one]).amounts(felt_in(recipe)) == {}
    half = recipe.with_(rows={"brow": Row("replace", 0.5)})
    assert Correctives([one]).amounts(felt_in(half)) == pytest.approx({"a": 0.5})
    assert triggers_of(half) == (Trigger("brow", "x", 0.4),) and triggers_of(recipe) == ()


def test_the_effect_of_a_fix_follows_the_strength() -> None:
    rng = np.random.default_rng(3)
    head = fixed_head(rng, grid(3, 3), 1)
    one = Corrective("fix_0", (Trigger("all", "shape_0", 1.0),))
    mixer, recipe = Mixer(head, {}, correctives=(one,)), own_pose(one)
    np.testing.assert_allclose(2.0 * mixer.displacement(recipe, 0.5), mixer.displacement(recipe), atol=1e-12)


@pytest.mark.parametrize(
    ("words", "make"),
    [
        ("corrective 'a' has no trigger", lambda: Corrective("a", ())),
        ("trigger all x x of corrective 'a' is at 0", lambda: Corrective("a", (Trigger("all", "x", 0.0),))),
        ("is at 3, not in", lambda: Corrective("a", (Trigger("all", "x", 3.0),))),
        ("is at nan, not in", lambda: Corrective("a", (Trigger("all", "x", float("nan")),))),
        ("trigger all x x twice", lambda: Corrective("a", 2 * (Trigger("all", "x", 1.0),))),
        ("'a', 'b' cannot be told apart", lambda: Correctives(
            [Corrective(name, (Trigger("all", on, 1.0),)) for name, on in (("a", "x"), ("c", "z"), ("b", "x"))]
        )),
        ("corrective 'a' is listed twice", lambda: Correctives(2 * [Corrective("a", (Trigger("all", "x", 1.0),))])),
        ("corrective 'a' triggers itself", lambda: Correctives([Corrective("a", (Trigger("all", "a", 1.0),))])),
        ("correctives 'b', 'c' trigger each other", lambda: Correctives(
            [Corrective(n, (Trigger("all", on, 1.0),)) for n, on in (("a", "b"), ("b", "c"), ("c", "b"))]
        )),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_by_name(words: str, make: object) -> None:
    with pytest.raises(MoueError, match=words):
        make()  # type: ignore[operator]


def test_a_shape_that_is_not_there_or_turns_is_refused() -> None:
    rng = np.random.default_rng(3)
    head = random_head(rng, grid(3, 3), 2, between=1)
    for name, words in (("gone", "no shape"), ("shape_0", "in-betweens")):
        with pytest.raises(MoueError, match=words):
            Mixer(head, {}, correctives=(Corrective(name, (Trigger("all", "shape_1", 1.0),)),))
