"""The live pose against fresh evaluations: the same after every rebase, and within the law's drift before it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.head.symmetry import MirrorMap
from composer.mixing.active import LivePose
from composer.mixing.hinge import Hinge
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe, Row
from tests.small_heads import polygon_meshes, random_head, random_masks

REGIONS = ["brow", "mouth", "jaw"]
seeds = st.integers(0, 2**32 - 1)


def mixer_of(rng: np.random.Generator, polygons: Polygons) -> Mixer:
    head = random_head(rng, polygons, 4, between=1)
    hinge = Hinge(rng.normal(size=3), head.neutral[0], 0.5, rng.random(head.n_vertices).astype(np.float32))
    mirror = MirrorMap.of_partners(rng.permutation(head.n_vertices))
    return Mixer(head, random_masks(rng, head.n_vertices, REGIONS), mirror=mirror, hinges={"shape_1": hinge})


def cells_of(rng: np.random.Generator, head: Head, share: float) -> tuple[Cell, ...]:
    keys = [(r, s, m) for r in ["all", *REGIONS] for s in head.shape_names for m in (False, True)]
    return tuple(Cell(r, s, float(rng.uniform(-1, 2)), m) for r, s, m in keys if rng.random() < share)


@settings(deadline=None, max_examples=60)
@given(polygon_meshes(), seeds)
def test_edits_of_every_kind_stay_with_fresh_evaluations(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    mixer = mixer_of(rng, polygons)
    head = mixer.head
    live = LivePose(mixer, Recipe("live", cells_of(rng, head, 0.3), {"mouth": Row("replace", 0.8)}, 0.9))
    for _ in range(25):
        region, shape = str(rng.choice(["all", *REGIONS])), str(rng.choice(head.shape_names))
        before = live.positions.copy()
        match rng.integers(8):
            case 0:
                touched = live.set_row(region, Row("add" if region == "all" else "replace", float(rng.random())))
            case 1:
                touched = live.set_strength(float(rng.random()))
            case 2:
                rows = {"brow": Row("replace", 0.5)} if rng.random() < 0.5 else dict(live.recipe.rows)
                touched = live.set_recipe(Recipe("other", cells_of(rng, head, 0.4), rows))
            case 3:
                live.release()
                touched = (0, 0)
            case _:
                weight = float(rng.choice([0.0, rng.uniform(-1, 2)]))
                touched = live.set_weight(region, shape, weight, bool(rng.random() < 0.5))
        fresh = mixer.pose(live.recipe)
        np.testing.assert_allclose(live.positions, fresh, rtol=0, atol=1e-5 * head.diagonal)
        changed = np.flatnonzero((live.positions != before).any(axis=1))
        assert len(changed) == 0 or (touched[0] <= changed[0] and changed[-1] < touched[1])
    assert live.rebase().tobytes() == mixer.pose(live.recipe).tobytes()
    assert np.array_equal(live.positions, mixer.pose(live.recipe).astype(np.float32))


def test_a_hundred_thousand_small_edits_stay_within_the_law() -> None:
    rng = np.random.default_rng(7)
    mixer = mixer_of(rng, Polygons.from_faces([[0, 1, 2, 3], [3, 2, 4, 5]], 6))
    cells = cells_of(rng, mixer.head, 0.5)
    live = LivePose(mixer, Recipe("drag", cells, {"mouth": Row("replace")}))
    pick = rng.integers(len(cells), size=100_000)
    weight = np.array([cell.weight for cell in cells])
    step = rng.normal(scale=1e-3, size=100_000)
    for number, (i, change) in enumerate(zip(pick, step, strict=True)):
        weight[i] = np.clip(weight[i] + change, -1.0, 2.0)
        live.set_weight(cells[i].region, cells[i].shape, weight[i], cells[i].mirrored)
        if number % 20_000 == 19_999:
            drift = np.abs(live.positions - mixer.pose(live.recipe)).max()
            assert drift <= 1e-5 * mixer.head.diagonal
    assert live.rebase().tobytes() == mixer.pose(live.recipe).tobytes()


def test_an_edit_touches_only_the_cells_own_vertices() -> None:
    rng = np.random.default_rng(3)
    head = random_head(rng, Polygons.from_faces([], 40), 2)
    mask = np.zeros(40)
    mask[10:20] = 1.0
    live = LivePose(Mixer(head, {"mouth": mask}), Recipe("r"))
    low, high = live.set_weight("mouth", "shape_0", 0.7)
    reached = np.flatnonzero((head.shapes[0].delta != 0).any(axis=1) & (mask > 0))
    assert (low, high) == (reached[0], reached[-1] + 1)
    still = np.setdiff1d(np.arange(40), reached)
    assert np.array_equal(live.positions[still], head.neutral[still].astype(np.float32))


def test_a_refused_edit_changes_nothing() -> None:
    rng = np.random.default_rng(3)
    head = random_head(rng, Polygons.from_faces([], 8), 2)
    live = LivePose(Mixer(head, {"mouth": np.ones(8)}), Recipe("r", (Cell("mouth", "shape_0", 0.5),)))
    before, recipe = live.positions.copy(), live.recipe
    for edit in (
        lambda: live.set_weight("mouth", "shape_0", 2.5),
        lambda: live.set_weight("mout", "shape_0", 0.5),
        lambda: live.set_weight("mouth", "shape_9", 0.5),
        lambda: live.set_weight("mouth", "shape_0", 0.5, mirrored=True),
        lambda: live.set_recipe(Recipe("s", (Cell("brow", "shape_0", 0.5),))),
        lambda: live.set_row("nose", Row("replace")),
    ):
        with pytest.raises(MoueError):
            edit()
        assert live.recipe == recipe and np.array_equal(live.positions, before)


def test_a_cell_set_to_zero_stays_listed_and_its_columns_can_be_released() -> None:
    head = random_head(np.random.default_rng(3), Polygons.from_faces([], 8), 2)
    live = LivePose(Mixer(head, {"mouth": np.ones(8)}), Recipe("r", (Cell("mouth", "shape_0", 0.5),)))
    assert live.bytes_held > 0
    live.set_weight("mouth", "shape_0", 0.0)
    assert live.recipe.cells == (Cell("mouth", "shape_0", 0.0),)
    np.testing.assert_allclose(live.positions, head.neutral, atol=1e-4)
    live.release()
    assert live.bytes_held == 0
    assert live.rebase().tobytes() == head.neutral.tobytes()


def test_positions_cannot_be_written_to() -> None:
    head = random_head(np.random.default_rng(3), Polygons.from_faces([], 8), 1)
    with pytest.raises(ValueError, match="read-only"):
        LivePose(Mixer(head, {}), Recipe("r")).positions[0] = 0.0


@pytest.mark.parametrize("every", [1, 2, 7])
def test_columns_that_list_their_vertices_and_columns_that_hold_a_range_agree(every: int) -> None:
    rng = np.random.default_rng(9)
    head = random_head(rng, Polygons.from_faces([], 60), 3, between=1)
    mask = np.zeros(60)
    mask[5:55:every] = rng.random(len(mask[5:55:every]))
    mixer = Mixer(head, {"mouth": mask, "nothing": np.zeros(60)})
    live = LivePose(mixer, Recipe("r", (Cell("mouth", "shape_0", 0.4), Cell("all", "shape_2", -0.3))))
    live.set_weight("mouth", "shape_1", 1.3)
    live.set_weight("nothing", "shape_1", 0.9)
    fresh = mixer.displacement(live.recipe)
    np.testing.assert_allclose(live.displacement32(), fresh, rtol=0, atol=1e-5 * head.diagonal)
    np.testing.assert_allclose(live.positions, head.neutral + fresh, rtol=0, atol=1e-5 * head.diagonal)
