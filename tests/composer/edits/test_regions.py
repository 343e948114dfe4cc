"""Edits of regions: recipes follow, halves sum to the whole and keep every pose, names and places stay safe."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Region
from composer.document.store import open_document, save_document
from composer.document.stored import free_place, is_inside, stored_places
from composer.edits import regions
from composer.errors import MoueError
from composer.head.file_names import check_name
from composer.mixing.recipe import Cell, Row
from tests.composer.document.small_document import N, painted, small_head, small_project

HEAD = small_head()
PROJECT = small_project()
SIDE = HEAD.neutral[:, 0]
NAMES = [region.name for region in PROJECT.regions]


def test_a_mask_is_kept_in_the_document_as_it_was_painted() -> None:
    values = np.random.default_rng(2).random(N)
    project = regions.set_mask(PROJECT, "glabella", values)
    held = project.stored["masks/glabella.npy"]
    assert project.region("glabella").source == {"from": "file", "file": "masks/glabella.npy"}
    np.testing.assert_array_equal(held, values.astype(np.float32))
    assert not held.flags.writeable and PROJECT.region("glabella").source == {"from": "landmarks"}
    again = regions.set_mask(project, "glabella", 1.0 - values)
    assert again.region("glabella") == project.region("glabella") and list(again.stored) == list(project.stored)


@pytest.mark.parametrize("values", [np.full(N, 1.5), np.full(N, np.nan), np.zeros((N, 3))])
def test_what_is_no_mask_is_refused(values: np.ndarray) -> None:
    with pytest.raises(MoueError, match="mask of region 'upper'"):
        regions.set_mask(PROJECT, "upper", values)


def test_a_copy_has_a_place_of_its_own_once_it_is_painted() -> None:
    project, made = regions.duplicate_region(PROJECT, "brow_left")
    assert made == "brow_left_2" and [r.name for r in project.regions][:2] == ["brow_left", made]
    painted_over = regions.set_mask(project, made, painted(9))
    evaluated = EvaluatedDocument(painted_over, HEAD)
    np.testing.assert_array_equal(evaluated.raw["brow_left"], PROJECT.stored["masks/brow_left.npy"])
    np.testing.assert_array_equal(evaluated.raw[made], painted(9))


@pytest.mark.parametrize("name", ["all", "remainder", "brow_left", "Brow_Left", "a/b", "", " a", "con", "x" * 200])
def test_names_that_a_region_may_not_have(name: str) -> None:
    with pytest.raises(MoueError):
        regions.add_region(PROJECT, Region(name, {"from": "file"}))
    with pytest.raises(MoueError):
        regions.rename_region(PROJECT, "dots", name)


def test_a_region_is_renamed_in_every_recipe_and_keeps_its_mask() -> None:
    project = regions.rename_region(PROJECT, "glabella", "nasenwurzel")
    assert project.recipe("call").cells[1] == Cell("nasenwurzel", "skew", -0.5)
    one = regions.rename_region(PROJECT, "brow_left", "BROW_LEFT")
    assert one.recipe("doubt").rows == {"BROW_LEFT": Row("replace", 0.7)}
    before, after = EvaluatedDocument(PROJECT, HEAD), EvaluatedDocument(project, HEAD)
    np.testing.assert_array_equal(after.raw["nasenwurzel"], before.raw["glabella"])
    for recipe in PROJECT.recipes:
        np.testing.assert_array_equal(after.pose(project.recipe(recipe.name)), before.pose(recipe))


def test_a_deleted_region_leaves_recipes_that_can_be_mixed() -> None:
    assert regions.recipes_with_region(PROJECT, "brow_left") == ["doubt"]
    project = regions.delete_region(PROJECT, "brow_left")
    assert [c.region for c in project.recipe("doubt").cells] == ["all", "upper"] and not project.recipe("doubt").rows
    assert "masks/brow_left.npy" not in project.stored and "masks/brow_right.npy" in project.stored
    EvaluatedDocument(project, HEAD).pose(project.recipe("doubt"))
    with pytest.raises(MoueError, match="did you mean"):
        regions.delete_region(PROJECT, "brow_lef")


@given(st.sampled_from(NAMES), st.floats(0, 60), st.booleans())
@settings(deadline=None, max_examples=12)
def test_halves_sum_to_the_whole_and_every_pose_stays(name: str, ramp: float, locked: bool) -> None:
    project = regions.set_locked(PROJECT, name, locked)
    before = EvaluatedDocument(project, HEAD)
    cut = regions.split_region(project, name, before.raw[name], SIDE, ramp)
    after = EvaluatedDocument(cut, HEAD)
    total = after.raw[f"{name}_left"] + after.raw[f"{name}_right"]
    np.testing.assert_allclose(total, before.raw[name], atol=2e-7)
    effective = after.effective[f"{name}_left"] + after.effective[f"{name}_right"]
    np.testing.assert_allclose(effective, before.effective[name], atol=1e-6)
    for recipe in project.recipes:
        np.testing.assert_allclose(after.pose(cut.recipe(recipe.name)), before.pose(recipe), atol=1e-5 * HEAD.diagonal)


def test_a_split_refuses_names_that_are_taken() -> None:
    with pytest.raises(MoueError, match="'brow_left'"):
        project = regions.add_region(PROJECT, Region("brow", {"from": "file"}), painted(3))
        regions.split_region(project, "brow", painted(3), SIDE, 8.0)
    with pytest.raises(MoueError, match="signed distance"):
        regions.split_region(PROJECT, "upper", painted(3), SIDE[:-1], 8.0)


def test_the_mirror_image_of_a_mask_goes_to_the_other_side() -> None:
    evaluated = EvaluatedDocument(PROJECT, HEAD)
    values = painted(5)
    project = regions.mirror_mask(
        regions.set_mask(PROJECT, "brow_left", values), "brow_left", values, evaluated.mirror_map
    )
    np.testing.assert_array_equal(project.stored["masks/brow_right.npy"], values[evaluated.mirror_map.partner])
    twice = regions.mirror_mask(PROJECT, "upper", values, evaluated.mirror_map)
    np.testing.assert_array_equal(twice.stored["masks/upper.npy"], values[evaluated.mirror_map.partner])
    alone = regions.rename_region(PROJECT, "dots", "dots_left")
    made = regions.mirror_mask(alone, "dots_left", values, evaluated.mirror_map)
    assert [r.name for r in made.regions][-1] == "dots_right" and made.region("dots_right").set == "overlay"
    with pytest.raises(MoueError, match="values"):
        regions.mirror_mask(PROJECT, "upper", values[:-1], evaluated.mirror_map)


names = st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), min_size=1, max_size=60)


@given(st.lists(names, min_size=1, max_size=6))
@example(["NUL", "nul.a é", "con.b"])
def test_places_are_safe_and_different_for_any_names(given_names: list[str]) -> None:
    taken: list[str] = []
    for name in given_names:
        place = free_place(name, "masks", taken)
        assert place.isascii() and is_inside(place) and len(place) < 100 and place.startswith("masks/")
        check_name(Path(place).stem, "file", Path("x"))
        taken.append(place)
    assert len({place.casefold() for place in taken}) == len(taken)


@given(st.lists(names, min_size=1, max_size=4, unique_by=str.casefold))
@settings(deadline=None, max_examples=25)
def test_masks_of_any_names_come_back(tmp_path_factory: pytest.TempPathFactory, given_names: list[str]) -> None:
    folder = tmp_path_factory.mktemp("names")
    for suffix in ("document.toml", "packed.moue"):
        project = small_project(folder / suffix)
        for seed, name in enumerate(given_names):
            try:
                project = regions.add_region(project, Region(name, {"from": "file"}), painted(seed))
            except MoueError:
                continue
        save_document(project, folder / suffix)
        again = open_document(folder / suffix)
        assert again.regions == project.regions and stored_places(again) == stored_places(project)
        for place, values in project.stored.items():
            np.testing.assert_array_equal(again.stored[place], values)
