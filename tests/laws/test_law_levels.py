"""The laws of levels: subdivision and mixing commute where nothing is masked, and a level's own targets come back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.detail import Detail, Frames
from composer.head.head import Head
from composer.head.levels import head_at_level, levels, refine
from composer.head.symmetry import MirrorMap
from composer.mixing.detailed import detailed_pose
from composer.mixing.hinge import Hinge
from composer.mixing.linear import Mixer, pose
from composer.mixing.recipe import Cell, Recipe, Row
from tests.small_heads import CUBE, CUBE_CORNERS, polygon_meshes, random_head, random_masks, random_rotation

seeds = st.integers(0, 2**32 - 1)
law = settings(deadline=None, max_examples=40)


def at_level(rng: np.random.Generator, head: Head, k: int) -> dict[str, NDArray[np.float64]]:
    """Targets at level k: the subdivided ones with detail of their own, a hundredth of the head's size."""
    steps = levels(head.polygons, k)
    made = {}
    for name in ["neutral", *head.shape_names]:
        smooth = refine(head.target(name), steps)
        made[name] = smooth + 0.01 * head.diagonal * rng.normal(size=smooth.shape)
    return made


@law
@given(polygon_meshes(), seeds, st.integers(1, 2))
def test_all_one_cell_weight_one_gives_the_levels_target_back(polygons: Polygons, seed: int, k: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 3, between=1)
    fine = at_level(rng, head, k)
    detail = Detail(head, k, fine["neutral"], fine.get)
    hinge = Hinge(rng.normal(size=3), head.neutral[0], 0.6, rng.random(head.n_vertices).astype(np.float32))
    mixer = Mixer(head, {}, hinges={"shape_1": hinge})
    for name in head.shape_names:
        found = detailed_pose(mixer, detail, Recipe("one", (Cell("all", name, 1.0),)))
        np.testing.assert_allclose(found, fine[name], rtol=0, atol=1e-5 * head.diagonal)
    at_rest = detailed_pose(mixer, detail, Recipe("none"))
    np.testing.assert_allclose(at_rest, fine["neutral"], rtol=0, atol=1e-5 * head.diagonal)


@law
@given(polygon_meshes(), seeds)
def test_every_row_replacing_with_the_base_cells_gives_the_levels_target_too(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 1)
    fine = at_level(rng, head, 1)
    masks = random_masks(rng, head.n_vertices, ["brow", "mouth"])
    recipe = Recipe(
        "every", tuple(Cell(r, "shape_0", 1.0) for r in ("all", *masks)), {r: Row("replace", 0.8) for r in masks}
    )
    found = detailed_pose(Mixer(head, masks), Detail(head, 1, fine["neutral"], fine.get), recipe)
    np.testing.assert_allclose(found, fine["shape_0"], rtol=0, atol=1e-5 * head.diagonal)


@law
@given(polygon_meshes(), seeds)
def test_without_detail_the_level_is_the_subdivided_pose(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 2)
    steps = levels(polygons, 2)
    mixer = Mixer(head, random_masks(rng, head.n_vertices, ["mouth"]))
    recipe = Recipe("r", (Cell("mouth", "shape_0", 0.7), Cell("all", "shape_1", 0.4)))
    smooth = refine(head.neutral, steps)
    found = detailed_pose(mixer, Detail(head, 2, smooth, lambda name: None), recipe)
    np.testing.assert_allclose(found, refine(mixer.pose(recipe), steps), rtol=0, atol=1e-6 * head.diagonal)


@law
@given(polygon_meshes(), seeds)
def test_detail_turns_with_the_head(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 1)
    fine = at_level(rng, head, 1)
    turn = random_rotation(rng)
    detail = Detail(head, 1, fine["neutral"], fine.get)
    local = rng.normal(size=(detail.n_vertices, 3))
    there = detail.add(head.neutral @ turn.T, local)
    frames = Frames(detail.steps[-1].polygons).at(refine(head.neutral, detail.steps))
    framed = np.abs(frames - np.eye(3)).max(axis=(1, 2)) > 0
    np.testing.assert_allclose(
        there[framed], (detail.add(head.neutral, local) @ turn.T)[framed], rtol=0, atol=1e-6 * head.diagonal
    )
    np.testing.assert_allclose(frames @ frames.transpose(0, 2, 1), np.tile(np.eye(3), (len(frames), 1, 1)), atol=1e-9)


@law
@given(polygon_meshes(), seeds)
def test_poses_of_the_finer_head_are_the_finer_poses(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 2, between=1)
    recipe = Recipe("r", (Cell("all", "shape_0", 0.3), Cell("all", "shape_1", 1.4)), strength=0.9)
    found = pose(head_at_level(head, 2), {}, recipe)
    expected = refine(pose(head, {}, recipe), levels(polygons, 2))
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-6 * head.diagonal)


@law
@given(polygon_meshes(), seeds, st.integers(1, 2))
def test_masks_stay_in_range_and_still_share(polygons: Polygons, seed: int, k: int) -> None:
    rng = np.random.default_rng(seed)
    one = rng.random(polygons.n_vertices)
    steps = levels(polygons, k)
    lifted, other = refine(one, steps), refine(1.0 - one, steps)
    assert lifted.min() >= 0.0 and lifted.max() <= 1.0 + 1e-12
    np.testing.assert_allclose(lifted + other, 1.0, atol=1e-12)


def test_a_mirrored_cell_brings_mirrored_detail() -> None:
    rng = np.random.default_rng(4)
    mirror = np.array([4, 5, 6, 7, 0, 1, 2, 3])
    head = random_head(rng, CUBE, 1).with_(neutral=100 * CUBE_CORNERS)
    steps = levels(CUBE, 2)
    fine_mirror = mirror
    for step in steps:
        fine_mirror = step.permutation(fine_mirror)
    smooth = refine(head.neutral, steps)
    np.testing.assert_allclose(smooth[fine_mirror] * [-1, 1, 1], smooth, atol=1e-12)
    neutral = smooth + (bump := rng.normal(size=smooth.shape)) + bump[fine_mirror] * [-1, 1, 1]
    target = refine(head.target("shape_0"), steps) + rng.normal(size=smooth.shape)
    detail = Detail(head, 2, neutral, lambda name: target)
    mixer = Mixer(head, {}, mirror=MirrorMap.of_partners(mirror))
    found = detailed_pose(mixer, detail, Recipe("r", (Cell("all", "shape_0", 1.0, mirrored=True),)))
    np.testing.assert_allclose(found, target[fine_mirror] * [-1, 1, 1], rtol=0, atol=1e-5 * head.diagonal)


def test_a_mirror_map_that_breaks_the_polygons_is_refused() -> None:
    with pytest.raises(MoueError, match="takes .* edges and .* polygons to none"):
        levels(CUBE, 1)[0].permutation(np.array([1, 0, 2, 3, 4, 5, 6, 7]))


def test_details_in_a_folder_are_the_same(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    head = random_head(rng, CUBE, 1)
    fine = at_level(rng, head, 2)
    here = Detail(head, 2, fine["neutral"], fine.get).of("shape_0")
    there = Detail(head, 2, fine["neutral"], fine.get, folder=tmp_path).of("shape_0")
    assert isinstance(there, np.memmap) and here is not None and np.array_equal(here, there)


def test_what_does_not_fit_the_level_is_refused() -> None:
    head = random_head(np.random.default_rng(0), CUBE, 1)
    smooth = refine(head.neutral, levels(CUBE, 1))
    with pytest.raises(MoueError, match="the neutral has 8 vertices, level 1 has 26"):
        Detail(head, 1, head.neutral, lambda name: None)
    with pytest.raises(MoueError, match="detail needs level 1 or above"):
        Detail(head, 0, head.neutral, lambda name: None)
    with pytest.raises(MoueError, match="the target of 'shape_0' has 8 vertices"):
        Detail(head, 1, smooth, lambda name: head.neutral).of("shape_0")
    with pytest.raises(MoueError, match="different heads"):
        detailed_pose(Mixer(head.with_(), {}), Detail(head, 1, smooth, lambda name: None), Recipe("r"))
