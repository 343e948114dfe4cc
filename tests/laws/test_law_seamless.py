"""The laws of the seamless join, on small heads: bumpy grids, and random meshes that no sculptor would make."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part, Shape
from composer.mixing.hinge import Hinge
from composer.mixing.linear import Mixer
from composer.mixing.live_join import LiveJoin
from composer.mixing.recipe import Cell, Recipe, Row
from composer.mixing.seamless import SeamlessJoin, further_than_linear
from composer.mixing.seamless_surface import SeamlessSurface
from masks.partition import effective_masks
from tests.small_heads import grid, polygon_meshes, random_head, random_masks, random_rotation
from tests.small_mixes import seamless_pose

seeds = st.integers(0, 2**32 - 1)
law = settings(deadline=None, max_examples=25)
REGIONS = ["left", "right", "upper"]
SIDE = 17


def smoothstep(t: NDArray) -> NDArray[np.float64]:
    t = np.clip(t, 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


def bumpy(rng: np.random.Generator, between: int = 0) -> Head:
    """A bumpy sheet of quads, 80 mm wide, with three shapes that are smooth on it."""
    x, y = np.meshgrid(np.linspace(-40, 40, SIDE), np.linspace(-40, 40, SIDE), indexing="ij")
    flat = np.stack([x.ravel(), y.ravel()], axis=1)
    flat += rng.uniform(-1, 1, size=flat.shape)
    z = 4.0 * np.sin(flat @ rng.normal(size=2) / 15.0)
    neutral = np.column_stack([flat, z])
    shapes = []
    for i in range(3):
        wave = np.sin(flat @ rng.normal(size=2) / 25.0 + rng.uniform(0, 6))
        delta = rng.normal(size=3) * 6.0 * wave[:, None] + rng.normal(size=3) * 3.0
        shapes.append(Shape(f"shape_{i}", delta.astype(np.float64)))  # type: ignore[arg-type]
    return Head("sheet", grid(SIDE, SIDE), neutral, tuple(shapes))


def ramps(rng: np.random.Generator, head: Head) -> dict[str, NDArray[np.float64]]:
    """Three regions that share the sheet: left, right, and one across both, each with a ramp of its own."""
    x, y = head.neutral[:, 0], head.neutral[:, 1]
    wide = rng.uniform(8.0, 16.0, size=3)
    middle = rng.uniform(-8.0, 8.0)
    left = smoothstep((middle - x) / wide[0] + 0.5)
    upper = smoothstep((y - rng.uniform(5.0, 20.0)) / wide[1] + 0.5)
    raw = [left, 1.0 - left, upper]
    return dict(zip(REGIONS, effective_masks(raw), strict=True))


def some_recipe(rng: np.random.Generator, head: Head) -> Recipe:
    cells = tuple(
        Cell(region, shape, float(rng.uniform(-1, 2)))
        for region in ["all", *REGIONS]
        for shape in head.shape_names
        if rng.random() < 0.5
    )
    rows = {r: Row("replace" if rng.random() < 0.5 else "add", float(rng.uniform(0.2, 1.0))) for r in REGIONS}
    return Recipe("some", cells, rows, float(rng.uniform(0.3, 1.2)), "seamless", halo=float(rng.choice([0.0, 0.33])))


def close(one: NDArray, other: NDArray, head: Head, relative: float = 1e-9) -> None:
    np.testing.assert_allclose(one, other, rtol=0, atol=relative * head.diagonal)


@law
@given(seeds)
def test_where_every_row_has_the_same_cells_it_is_the_linear_join(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    mixer = Mixer(head, ramps(rng, head))
    weights = rng.uniform(-1, 2, size=3)
    cells = [Cell(r, f"shape_{i}", float(w)) for r in ["all", *REGIONS] for i, w in enumerate(weights)]
    rows = {region: Row("replace", float(rng.random())) for region in REGIONS}
    recipe = Recipe("every", tuple(cells), rows, 0.7)
    close(seamless_pose(mixer, recipe), mixer.pose(recipe), head)


@law
@given(seeds)
def test_regions_that_sum_to_one_and_add_the_same_cells_are_the_whole(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    mixer = Mixer(head, ramps(rng, head))
    recipe = Recipe("sum", tuple(Cell(r, "shape_0", 1.3) for r in REGIONS))
    close(seamless_pose(mixer, recipe), mixer.pose(Recipe("all", (Cell("all", "shape_0", 1.3),))), head)


@law
@given(polygon_meshes(), seeds)
def test_at_strength_zero_and_without_cells_it_is_the_neutral_bit_for_bit(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 2)
    mixer = Mixer(head, random_masks(rng, head.n_vertices, REGIONS))
    some = some_recipe(rng, head)
    for recipe in (some.with_(strength=0.0), some.with_(cells=())):
        assert seamless_pose(mixer, recipe).tobytes() == head.neutral.tobytes()


@law
@given(seeds)
def test_outside_ramp_and_halo_it_is_the_linear_join_bit_for_bit(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    masks = ramps(rng, head)
    mixer, recipe = Mixer(head, masks), some_recipe(rng, head)
    skin = SeamlessSurface(head.surface)
    used = {region: masks[region] for region in recipe.regions if region != "all"}
    still = np.ones(head.n_vertices, dtype=bool)
    still[SeamlessJoin(skin, used, halo=recipe.halo).zone.free] = False
    assert seamless_pose(mixer, recipe)[still].tobytes() == mixer.pose(recipe)[still].tobytes()
    if recipe.halo == 0.0:
        at_rest = np.all([(mask == 0.0) | (mask == 1.0) for mask in used.values()], axis=0)
        assert still[at_rest].all()


@law
@given(polygon_meshes(), seeds)
def test_any_mesh_gives_a_finite_pose_and_leaves_alone_what_is_held(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3)
    mixer, recipe = Mixer(head, random_masks(rng, head.n_vertices, REGIONS)), some_recipe(rng, head)
    pose, linear = seamless_pose(mixer, recipe), mixer.pose(recipe)
    held = SeamlessSurface(head.surface).held
    assert np.isfinite(pose).all()
    assert pose[held].tobytes() == linear[held].tobytes()


@law
@given(seeds)
def test_parts_are_as_in_the_linear_join(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    part = np.sort(rng.choice(head.n_vertices, size=30, replace=False)).astype(np.int32)
    head = head.with_(parts=(Part("teeth", part, "skull"),))
    mixer, recipe = Mixer(head, ramps(rng, head)), some_recipe(rng, head)
    assert seamless_pose(mixer, recipe)[part].tobytes() == mixer.pose(recipe)[part].tobytes()


@law
@given(seeds)
def test_turning_moving_and_scaling_every_input_does_the_same_to_the_pose(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    masks, recipe = ramps(rng, head), some_recipe(rng, head)
    scale, shift = float(rng.choice([0.01, 1.0, 25.4])), 100.0 * rng.normal(size=3)
    turn = scale * random_rotation(rng)
    other = head.with_(
        neutral=head.neutral @ turn.T + shift,
        shapes=tuple(Shape(s.name, s.delta @ turn.T) for s in head.shapes),
    )
    turned = seamless_pose(Mixer(head, masks), recipe) @ turn.T + shift
    close(seamless_pose(Mixer(other, masks), recipe), turned, other, 1e-8)


@law
@given(seeds)
def test_renumbering_every_input_renumbers_the_pose(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    masks, recipe = ramps(rng, head), some_recipe(rng, head)
    order = rng.permutation(head.n_vertices)
    place = np.argsort(order)
    other = Head(
        "other", Polygons(head.polygons.counts, place[head.polygons.indices], head.n_vertices), head.neutral[order],
        tuple(Shape(s.name, s.delta[order]) for s in head.shapes),
    )  # fmt: skip
    renumbered = {name: mask[order] for name, mask in masks.items()}
    close(seamless_pose(Mixer(other, renumbered), recipe), seamless_pose(Mixer(head, masks), recipe)[order], head)


@law
@given(seeds)
def test_where_a_polygon_begins_does_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    masks, recipe = ramps(rng, head), some_recipe(rng, head)
    quads = head.polygons.indices.reshape(-1, 4)
    turned = np.stack([np.roll(quad, int(rng.integers(4))) for quad in quads])
    other = head.with_(polygons=Polygons(head.polygons.counts, turned.ravel(), head.n_vertices))
    close(seamless_pose(Mixer(other, masks), recipe), seamless_pose(Mixer(head, masks), recipe), head)


@law
@given(seeds)
def test_a_mirrored_head_gives_the_mirrored_pose(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    at = np.arange(SIDE * SIDE).reshape(SIDE, SIDE)
    partner = at[::-1].ravel()
    flip = np.array([-1.0, 1.0, 1.0])
    even = 0.5 * (head.neutral + head.neutral[partner] * flip)
    head = head.with_(neutral=even)
    masks, recipe = ramps(rng, head), some_recipe(rng, head)
    other = head.with_(shapes=tuple(Shape(s.name, s.delta[partner] * flip) for s in head.shapes))
    mirrored = {name: mask[partner] for name, mask in masks.items()}
    pose = seamless_pose(Mixer(head, masks), recipe)
    close(seamless_pose(Mixer(other, mirrored), recipe), pose[partner] * flip, head)


@law
@given(seeds)
def test_plain_shapes_are_linear_in_the_weights(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    recipe = some_recipe(rng, head)
    mixer = Mixer(head, ramps(rng, head))
    a, b = rng.uniform(-0.15, 0.6, size=(2, len(recipe.cells)))

    def moved(weights: NDArray) -> NDArray:
        cells = tuple(Cell(c.region, c.shape, float(w)) for c, w in zip(recipe.cells, weights, strict=True))
        return seamless_pose(mixer, recipe.with_(cells=cells)) - head.neutral

    close(moved(2 * a - b), 2 * moved(a) - moved(b), head)


@law
@given(seeds, st.floats(-0.9, 1.9))
def test_a_sweep_of_a_shape_that_turns_is_continuous(seed: int, weight: float) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    hinge = Hinge(rng.normal(size=3), head.neutral[0], 0.5, np.ones(head.n_vertices, dtype=np.float32))
    mixer = Mixer(head, ramps(rng, head), hinges={"shape_1": hinge})
    still = (Cell("right", "shape_0", 0.7), Cell("upper", "shape_2", 0.0))
    here, there = (
        seamless_pose(mixer, Recipe("sweep", (Cell("left", "shape_1", w), *still))) for w in (weight, weight + 1e-6)
    )
    assert np.abs(there - here).max() <= 1e-5 * head.diagonal


@law
@given(seeds)
def test_listing_a_cell_at_zero_where_no_ramps_cross_changes_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    x = head.neutral[:, 0]
    masks = {"left": smoothstep((-24.0 - x) / 8.0), "right": smoothstep((x - 24.0) / 8.0)}
    mixer = Mixer(head, masks)
    one = Recipe("one", (Cell("left", "shape_0", 0.8),))
    close(
        seamless_pose(mixer, one.with_(cells=(*one.cells, Cell("right", "shape_1", 0.0)))), seamless_pose(mixer, one),
        head,
    )  # fmt: skip


@law
@given(seeds)
def test_widening_keeps_the_sum_of_shares_and_what_lies_outside(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    masks = ramps(rng, head)
    join = SeamlessJoin(SeamlessSurface(head.surface), masks)
    wide = {name: join.widened(mask) for name, mask in masks.items()}
    np.testing.assert_allclose(sum(wide.values()), 1.0, atol=1e-9)
    outside = np.ones(head.n_vertices, dtype=bool)
    outside[join.zone.free] = False
    for name, mask in masks.items():
        assert np.array_equal(wide[name][outside], mask[outside])


@law
@given(seeds)
def test_a_join_that_follows_edits_is_the_join_made_anew(seed: int) -> None:
    """Weights, rows and the strength, one after the other, on shapes that turn and bend, some cells of regions that the
    join was not made for: what it adds is within 1e-5 of the head's diagonal (the law of a drag) of a fresh answer."""
    rng = np.random.default_rng(seed)
    head = bumpy(rng)
    hinge = Hinge(rng.normal(size=3), head.neutral[0], 0.4, rng.random(head.n_vertices).astype(np.float32))
    mixer = Mixer(head, ramps(rng, head), hinges={"shape_0": hinge})
    recipe = some_recipe(rng, head)
    made_for = [r for r in recipe.regions if r != "all"][: int(rng.integers(1, 4))]
    surface = SeamlessSurface(head.surface, head.skin)
    join = SeamlessJoin(surface, {r: mixer.given[r] for r in made_for}, halo=recipe.halo)
    live = LiveJoin(mixer, join, recipe)
    for _ in range(12):
        region, shape = str(rng.choice(["all", *REGIONS])), str(rng.choice(head.shape_names))
        match rng.integers(6):
            case 0:
                kind = "add" if region == "all" or rng.random() < 0.5 else "replace"
                recipe = recipe.with_(rows={**recipe.rows, region: Row(kind, float(rng.random()))})
            case 1:
                recipe = recipe.with_(strength=float(rng.choice([0.0, rng.uniform(0.1, 1.2)])))
            case _:
                cells = {c.key: c for c in recipe.cells}
                cells[region, shape, False] = Cell(region, shape, float(rng.choice([0.0, rng.uniform(-1, 2)])))
                recipe = recipe.with_(cells=tuple(cells.values()))
        followed = live.follow(mixer, recipe)
        close(followed, further_than_linear(mixer, join, recipe), head, 1e-5)
    assert live.covers(recipe, [r for r in REGIONS if r not in made_for])
