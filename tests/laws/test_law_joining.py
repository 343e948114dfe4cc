"""The laws of the linear join, on random small heads; lengths relative to the head's size, 1e-9 unless said."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import Head, InBetween, Shape
from composer.head.symmetry import MirrorMap
from composer.mixing.hinge import Hinge
from composer.mixing.linear import Mixer, pose
from composer.mixing.recipe import Cell, Recipe, Row
from tests.small_heads import polygon_meshes, random_head, random_masks, random_rotation

REGIONS = ["brow", "mouth", "jaw", "remainder"]
seeds = st.integers(0, 2**32 - 1)
law = settings(deadline=None, max_examples=60)


def random_recipe(rng: np.random.Generator, head: Head, mirrored: bool = False, rows: bool = True) -> Recipe:
    cells = [
        Cell(region, shape, float(rng.uniform(-1, 2)), flip)
        for region in ["all", *REGIONS]
        for shape in head.shape_names
        for flip in ((False, True) if mirrored else (False,))
        if rng.random() < 0.4
    ]
    kinds = {
        region: Row("replace" if rng.random() < 0.5 else "add", float(rng.choice([0.0, 0.4, 1.0])))
        for region in REGIONS
        if rows and rng.random() < 0.7
    }
    return Recipe("random", tuple(cells), kinds, float(rng.uniform(-0.5, 1.5)))


def random_hinge(rng: np.random.Generator, head: Head) -> Hinge:
    rigidity = rng.random(head.n_vertices).astype(np.float32)
    return Hinge(rng.normal(size=3), head.neutral[0], float(rng.uniform(-1, 1)), rigidity)


def close(one: NDArray, other: NDArray, head: Head) -> None:
    np.testing.assert_allclose(one, other, rtol=0, atol=1e-9 * head.diagonal)


def formula(head: Head, masks: dict[str, NDArray], recipe: Recipe) -> NDArray[np.float64]:
    """P = N + strength ((1 - sum g^) B + sum g^ R + sum g R), one vertex at a time, plain shapes."""
    out = head.neutral.copy()
    delta = {shape.name: shape.delta.astype(np.float64) for shape in head.shapes}
    for v in range(head.n_vertices):
        rows: dict[str, NDArray] = {region: np.zeros(3) for region in ["all", *recipe.rows]}
        for cell in recipe.cells:
            rows[cell.region] = rows.get(cell.region, np.zeros(3)) + cell.weight * delta[cell.shape][v]
        g = {r: recipe.row(r).amount * float(masks[r][v]) for r in rows if r != "all"}
        replacing = [r for r in g if recipe.row(r).kind == "replace"]
        crowd = max(1.0, sum(g[r] for r in replacing))
        moved = (1 - sum(g[r] / crowd for r in replacing)) * rows["all"]
        moved = moved + sum((g[r] / (crowd if r in replacing else 1.0)) * rows[r] for r in g)
        out[v] += recipe.strength * moved
    return out


@law
@given(polygon_meshes(), seeds)
def test_a_pose_is_the_formula_written_out(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3)
    masks, recipe = random_masks(rng, head.n_vertices, REGIONS), random_recipe(rng, head)
    close(pose(head, masks, recipe), formula(head, masks, recipe), head)


@law
@given(polygon_meshes(), seeds)
def test_without_cells_the_neutral_bit_for_bit(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 2)
    still = head.neutral.copy()
    still[0] = [-0.0, 0.0, -0.0]
    head = head.with_(neutral=still)
    masks = random_masks(rng, head.n_vertices, REGIONS)
    some = random_recipe(rng, head)
    for recipe in (Recipe("none"), some.with_(cells=()), some.with_(strength=0.0)):
        assert pose(head, masks, recipe).tobytes() == head.neutral.tobytes()


@law
@given(polygon_meshes(), seeds)
def test_what_does_not_move_keeps_its_bits(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3)
    masks, recipe = random_masks(rng, head.n_vertices, REGIONS), random_recipe(rng, head)
    still = np.ones(head.n_vertices, dtype=bool)
    for cell in recipe.cells:
        still &= (head.shape(cell.shape).delta == 0).all(axis=1)
    assert pose(head, masks, recipe)[still].tobytes() == head.neutral[still].tobytes()


@law
@given(polygon_meshes(), seeds)
def test_if_every_row_replaces_with_the_base_cells_the_pose_is_the_base(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3, between=1)
    hinges = {"shape_1": random_hinge(rng, head)}
    masks = random_masks(rng, head.n_vertices, REGIONS)
    weights = rng.uniform(-1, 2, size=3)
    cells = [Cell(r, f"shape_{i}", float(w)) for r in ["all", *REGIONS] for i, w in enumerate(weights)]
    rows = {region: Row("replace", float(rng.random())) for region in REGIONS}
    base = Recipe("base", tuple(cells[:3]), strength=0.7)
    every = Recipe("every", tuple(cells), rows, 0.7)
    close(pose(head, masks, every, hinges=hinges), pose(head, masks, base, hinges=hinges), head)


@law
@given(polygon_meshes(), seeds)
def test_where_its_mask_is_zero_a_region_is_never_felt(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3)
    masks, recipe = random_masks(rng, head.n_vertices, REGIONS), random_recipe(rng, head)
    without = recipe.with_(
        cells=tuple(c for c in recipe.cells if c.region != "mouth"),
        rows={r: row for r, row in recipe.rows.items() if r != "mouth"},
    )
    zero = masks["mouth"] == 0.0
    assert np.array_equal(pose(head, masks, recipe)[zero], pose(head, masks, without)[zero])


@law
@given(polygon_meshes(), seeds)
def test_a_replacing_row_without_cells_holds_the_neutral(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 1)
    masks = {"mouth": np.ones(head.n_vertices)}
    held = Recipe("held", (Cell("all", "shape_0", 1.0),), {"mouth": Row("replace")})
    assert np.array_equal(pose(head, masks, held), head.neutral)


@law
@given(polygon_meshes(), seeds)
def test_plain_shapes_are_linear_in_the_weights(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3)
    recipe = random_recipe(rng, head)
    mixer = Mixer(head, random_masks(rng, head.n_vertices, REGIONS))
    a, b = rng.uniform(-0.15, 0.6, size=(2, len(recipe.cells)))

    def moved(weights: NDArray) -> NDArray:
        cells = tuple(Cell(c.region, c.shape, float(w)) for c, w in zip(recipe.cells, weights, strict=True))
        return mixer.displacement(recipe.with_(cells=cells))

    close(moved(2 * a - b), 2 * moved(a) - moved(b), head)


@law
@given(polygon_meshes(), seeds)
def test_hinges_and_inbetweens_add_over_cells(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3, between=1)
    recipe = random_recipe(rng, head)
    mixer = Mixer(head, random_masks(rng, head.n_vertices, REGIONS), hinges={"shape_2": random_hinge(rng, head)})
    alone = [mixer.displacement(recipe.with_(cells=(c,), rows={**recipe.rows, **_used(recipe)})) for c in recipe.cells]
    close(mixer.displacement(recipe), np.sum(alone, axis=0) if alone else 0 * head.neutral, head)


def _used(recipe: Recipe) -> dict[str, Row]:
    return {region: recipe.row(region) for region in recipe.regions}


@law
@given(polygon_meshes(), seeds, st.floats(-1, 2))
def test_hinges_and_inbetweens_are_continuous(polygons: Polygons, seed: int, weight: float) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 2, between=1)
    mixer = Mixer(head, {}, hinges={"shape_1": random_hinge(rng, head)})
    step = 1e-7
    for name in head.shape_names:
        here = Recipe("here", (Cell("all", name, weight),))
        there = Recipe("there", (Cell("all", name, min(weight + step, 2.0)),))
        gap = np.abs(mixer.displacement(here) - mixer.displacement(there)).max()
        assert gap <= 100.0 * step * head.diagonal


def mirrored_head(rng: np.random.Generator, shapes: int) -> tuple[Head, NDArray[np.int64]]:
    """A head of 2 k + m loose vertices, k on each side and m on the midline, and its mirror map."""
    k, m = int(rng.integers(2, 6)), int(rng.integers(1, 4))
    half = rng.normal(size=(k, 3)) * 100.0
    middle = rng.normal(size=(m, 3)) * [0.0, 100.0, 100.0]
    neutral = np.concatenate([half, half * [-1, 1, 1], middle])
    mirror = np.concatenate([np.arange(k, 2 * k), np.arange(k), np.arange(2 * k, 2 * k + m)])
    order = rng.permutation(2 * k + m)
    place = np.argsort(order)
    head = random_head(rng, Polygons.from_faces([], 2 * k + m), shapes, between=1)
    return head.with_(neutral=neutral[order]), place[mirror[order]]


@law
@given(seeds)
def test_a_mirrored_recipe_gives_the_mirrored_pose(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head, mirror = mirrored_head(rng, 3)
    masks = random_masks(rng, head.n_vertices, ["mouth_left", "brow"])
    masks["mouth_right"] = masks["mouth_left"][mirror]
    masks["brow"] = np.maximum(masks["brow"], masks["brow"][mirror])
    other = {"mouth_left": "mouth_right", "mouth_right": "mouth_left", "brow": "brow", "all": "all"}
    cells = tuple(
        Cell(region, shape, float(rng.uniform(-1, 2)), bool(rng.random() < 0.5))
        for region in other
        for shape in head.shape_names
    )
    rows = {"mouth_left": Row("replace", 0.6), "brow": Row("replace", 0.9)}
    recipe = Recipe("one", cells, rows, 0.8)
    turned = recipe.with_(
        cells=tuple(Cell(other[c.region], c.shape, c.weight, not c.mirrored) for c in cells),
        rows={other[r]: row for r, row in rows.items()},
    )
    mixer = Mixer(head, masks, mirror=MirrorMap.of_partners(mirror), hinges={"shape_2": random_hinge(rng, head)})
    close(mixer.pose(turned), mixer.pose(recipe)[mirror] * [-1, 1, 1], head)


def test_a_mirrored_cell_keeps_its_own_regions_mask() -> None:
    neutral = np.array([[1.0, 0, 0], [-1.0, 0, 0]])
    delta = np.array([[2.0, 3.0, 4.0], [0.0, 0.0, 0.0]], dtype=np.float32)
    head = Head("pair", Polygons.from_faces([], 2), neutral, (Shape("grin", delta),))
    masks = {"right": np.array([0.0, 0.5])}
    recipe = Recipe("r", (Cell("right", "grin", 1.0, mirrored=True),))
    moved = pose(head, masks, recipe, mirror=MirrorMap.of_partners(np.array([1, 0]))) - neutral
    np.testing.assert_array_equal(moved, [[0, 0, 0], [-1.0, 1.5, 2.0]])


@law
@given(polygon_meshes(), seeds)
def test_renumbering_every_input_renumbers_the_pose(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3, between=1)
    masks, recipe = random_masks(rng, head.n_vertices, REGIONS), random_recipe(rng, head)
    order = rng.permutation(head.n_vertices)
    place = np.argsort(order)
    other = Head(
        "other", Polygons(polygons.counts, place[polygons.indices], head.n_vertices), head.neutral[order],
        tuple(_each(shape, lambda field: field[order]) for shape in head.shapes),
    )  # fmt: skip
    renumbered = {name: mask[order] for name, mask in masks.items()}
    assert np.array_equal(pose(other, renumbered, recipe), pose(head, masks, recipe)[order])


@law
@given(polygon_meshes(), seeds, st.floats(0.01, 100.0))
def test_turning_and_scaling_every_input_turns_and_scales_the_pose(polygons: Polygons, seed: int, scale: float) -> None:
    # Deltas are stored in float32, so the turned ones are rounded to it: 1e-9 holds for float64 copies of them.
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3, between=1)
    head = head.with_(shapes=tuple(_each(shape, lambda field: field.astype(np.float64)) for shape in head.shapes))
    masks, recipe = random_masks(rng, head.n_vertices, REGIONS), random_recipe(rng, head)
    hinge = random_hinge(rng, head)
    turn, shift = scale * random_rotation(rng), rng.normal(size=3)
    other = head.with_(
        neutral=head.neutral @ turn.T + shift,
        shapes=tuple(_each(shape, lambda field: field @ turn.T) for shape in head.shapes),
    )
    turned = Hinge(turn @ hinge.axis, turn @ hinge.origin + shift, hinge.angle, hinge.rigidity)
    close(
        pose(other, masks, recipe, hinges={"shape_2": turned}),
        pose(head, masks, recipe, hinges={"shape_2": hinge}) @ turn.T + shift,
        other,
    )


def _each(shape: Shape, change) -> Shape:  # type: ignore[no-untyped-def]
    return Shape(shape.name, change(shape.delta), tuple(InBetween(b.at, change(b.delta)) for b in shape.inbetweens))


def test_what_is_not_there_is_refused_by_name() -> None:
    head = random_head(np.random.default_rng(0), Polygons.from_faces([[0, 1, 2]], 3), 1)
    masks = {"mouth": np.ones(3)}
    with pytest.raises(MoueError, match="no region is named 'mout'; did you mean mouth"):
        pose(head, masks, Recipe("r", (Cell("mout", "shape_0", 1.0),)))
    with pytest.raises(MoueError, match="no shape is named 'shap_0'"):
        pose(head, masks, Recipe("r", (Cell("mouth", "shap_0", 1.0),)))
    with pytest.raises(MoueError, match="is mirrored and this head has no mirror map"):
        pose(head, masks, Recipe("r", (Cell("mouth", "shape_0", 1.0, True),)))
    with pytest.raises(MoueError, match="has 2 values, the head 3"):
        pose(head, {"mouth": np.ones(2)}, Recipe("r"))
