"""Spots in a document: made where they are needed, used again, shared with nobody, gone with their deletion."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Region
from composer.document.store import open_document, save_document
from composer.edits.regions import delete_region
from composer.edits.spots import RADII_MM, spots_about, unused_spots, with_spots, without_unused_spots
from composer.errors import MoueError
from composer.head.places import SurfacePoint
from composer.mixing.recipe import Cell
from tests.composer.document.small_document import COLUMNS, MIDDLE, small_head, small_project

PLACE = SurfacePoint((4 * COLUMNS + MIDDLE, 4 * COLUMNS + MIDDLE + 1, 5 * COLUMNS + MIDDLE + 1), (0.6, 0.25, 0.15))


def pulled() -> EvaluatedDocument:
    """The small document after a pull that used one spot."""
    before = EvaluatedDocument(small_project(), small_head())
    spots = spots_about(before.project, before.effective, PLACE, "glabella")
    recipe = before.project.recipe("doubt")
    more = recipe.with_(cells=(*recipe.cells, Cell("spot_40_glabella", "lift", 0.5)))
    return before.again(with_spots(before.project, spots, more))


def test_only_the_spots_in_use_come_into_the_document_and_no_mask_changes() -> None:
    before = EvaluatedDocument(small_project(), small_head())
    after = pulled()
    assert [region.name for region in after.project.regions[6:]] == ["spot_40_glabella"]
    for name, mask in before.effective.items():
        np.testing.assert_array_equal(after.effective[name], mask)
    spot = after.effective["spot_40_glabella"]
    assert spot[PLACE.triangle[0]] > 0.9 and spot.min() == 0.0
    np.testing.assert_array_equal(spot, after.raw["spot_40_glabella"])


def test_a_spot_is_used_again_where_it_is_near_and_not_further_off() -> None:
    after = pulled()
    assert [s.source["radius_mm"] for s in spots_about(after.project, after.effective, PLACE, "glabella")] == [
        radius for radius in RADII_MM if radius != 40.0
    ]
    far = SurfacePoint((COLUMNS, COLUMNS + 1, 2 * COLUMNS + 1), (1.0, 0.0, 0.0))
    names = [spot.name for spot in spots_about(after.project, after.effective, far, "glabella")]
    assert len(names) == len(RADII_MM) and "spot_40_glabella" not in names


@pytest.mark.parametrize("name", ["clock.moue", "clock.toml"])
def test_a_document_keeps_its_spots(tmp_path: Path, name: str) -> None:
    after = pulled()
    saved = save_document(after.project.with_(path=tmp_path / name), tmp_path / name)
    read = open_document(tmp_path / name)
    assert read.region("spot_40_glabella") == saved.region("spot_40_glabella")
    again = EvaluatedDocument(read, small_head())
    np.testing.assert_array_equal(again.effective["spot_40_glabella"], after.effective["spot_40_glabella"])


def test_deleting_a_spot_takes_its_cells_and_nothing_else() -> None:
    project = delete_region(pulled().project, "spot_40_glabella")
    assert project.recipe("doubt") == small_project().recipe("doubt")
    assert project.regions == small_project().regions


def test_spots_without_a_weight_are_named() -> None:
    project = pulled().project
    assert unused_spots(project) == []
    recipe = small_project().recipe("doubt")
    unweighted = project.with_(recipes=(recipe, *project.recipes[1:]))
    assert unused_spots(unweighted) == ["spot_40_glabella"]
    assert without_unused_spots(unweighted).regions == small_project().regions
    assert without_unused_spots(project) is project


def test_the_seamless_join_leaves_a_spot_as_it_is() -> None:
    """A spot's own cell moves a seamless recipe by exactly what it moves a linear one."""
    after = pulled()
    recipe = after.project.recipe("doubt").with_(join="seamless")
    without = recipe.with_(cells=recipe.cells[:-1])
    linear = after.mixer.displacement(recipe) - after.mixer.displacement(without)
    np.testing.assert_allclose(after.pose(recipe) - after.pose(without), linear, atol=1e-9)
    np.testing.assert_allclose(after.seamless(recipe)[0], after.pose(recipe), atol=1e-12)


@pytest.mark.parametrize(
    "source", [{"triangle": [0, 1], "bary": [1.0, 0.0, 0.0]}, {"triangle": [0, 1, 9999], "bary": [1.0, 0.0, 0.0]},
               {"triangle": [0, 1, 8], "bary": [1.0, 1.0, 0.0]}],
)  # fmt: skip
def test_a_spot_without_a_place_is_refused_with_its_name(source: dict) -> None:
    region = Region("spot", {"from": "spot", "radius_mm": 20.0, **source}, set="spot")
    with pytest.raises(MoueError, match="region 'spot' names no place"):
        _ = EvaluatedDocument(small_project().with_(regions=(region,), recipes=()), small_head()).raw
