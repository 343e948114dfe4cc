"""A softened region at a finer level: its ramp is the smoothstep of the subdivided distance, not a subdivided one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.project import Project, Region
from composer.edits.softness import set_softness
from composer.head.head import Head, Shape
from composer.head.levels import levels, refine
from composer.head.soft_borders import soft_border
from composer.mixing.recipe import Cell, Recipe
from masks.soften import smoothstep
from tests.small_heads import grid

SIDE, STEP = 17, 6.0
WIDE = 20.0


def sheet() -> tuple[Head, np.ndarray]:
    """A sheet of 96 x 96 mm with a shape that lifts all of it by 10 mm, and a mask drawn on the cage along a slope."""
    x, y = np.meshgrid(np.arange(SIDE), np.arange(SIDE))
    places = STEP * np.stack([x.ravel() - 8.0, y.ravel() - 8.0, np.zeros(SIDE**2)], axis=1)
    lift = Shape("lift", np.tile(np.float32([0, 0, 10]), (SIDE**2, 1)))
    drawn = (places[:, 0] + 0.4 * places[:, 1] > 1.0).astype(np.float32)
    drawn.setflags(write=False)
    return Head("sheet", grid(SIDE, SIDE), places, (lift,)), drawn


def document(softness: float | None) -> EvaluatedDocument:
    head, drawn = sheet()
    region = Region("half", {"from": "file", "file": "masks/half.npy"})
    recipe = Recipe("up", (Cell("half", "lift", 1.0),))
    project = Project(Path("d.moue"), Path("lib"), "mm", "neutral", "", (region,), (recipe,),
                      stored={"masks/half.npy": drawn})  # fmt: skip
    return EvaluatedDocument(project if softness is None else set_softness(project, "half", softness), head)


@pytest.mark.parametrize("level", [1, 2])
def test_the_ramp_is_taken_at_the_level(level: int) -> None:
    """By hand: every place is lifted by 10 mm times the smoothstep of the subdivided distance over the ramp."""
    soft = document(WIDE)
    recipe = soft.project.recipes[0]
    steps = levels(soft.head.polygons, level)
    inward = refine(soft_border(soft.head, soft.plain(soft.project.regions[0])).inward, steps)
    pose = EvaluatedLevel(soft, level).pose(recipe)
    np.testing.assert_allclose(pose[:, 2], 10.0 * smoothstep(0.5 + inward / WIDE), atol=1e-9)
    half = EvaluatedLevel(soft, level).pose(recipe, 0.5)
    np.testing.assert_allclose(half[:, 2], 0.5 * pose[:, 2], atol=1e-9)


@pytest.mark.parametrize("wide", [8.0, 12.0, 20.0])
def test_its_teeth_are_smaller_than_those_of_a_subdivided_ramp(wide: float) -> None:
    """Off the nearest straight ramp along the drawn slope, rms at level 2: at least a quarter less."""
    soft = document(wide)
    recipe, steps = soft.project.recipes[0], levels(soft.head.polygons, 2)
    places = refine(soft.head.neutral, steps)
    away = (places[:, 0] + 0.4 * places[:, 1]) / np.hypot(1.0, 0.4)
    on = (np.abs(places[:, :2]).max(axis=1) < 36.0) & (np.abs(away) < wide / 2.0 + STEP)

    def off(pose: np.ndarray) -> float:
        ideal = (10.0 * smoothstep(0.5 + (away[on] + shift) / wide) for shift in np.linspace(-STEP, STEP, 49))
        return min(float(np.sqrt(np.mean((pose[on, 2] - each) ** 2))) for each in ideal)

    assert off(EvaluatedLevel(soft, 2).pose(recipe)) < 0.75 * off(refine(soft.pose(recipe), steps))


def test_without_a_softness_a_level_is_the_subdivided_cage_bit_for_bit() -> None:
    plain = document(None)
    recipe = plain.project.recipes[0]
    steps = levels(plain.head.polygons, 2)
    np.testing.assert_array_equal(EvaluatedLevel(plain, 2).pose(recipe), refine(plain.pose(recipe), steps))


def test_a_region_softened_in_another_set_changes_nothing_here() -> None:
    soft = document(WIDE)
    other = Region("other", {"from": "vertices", "vertices": [0, 1]}, set="apart")
    project = soft.project.with_(regions=(*document(None).project.regions, other))
    again = EvaluatedDocument(set_softness(project, "half", None), soft.library)
    recipe = again.project.recipes[0]
    steps = levels(again.head.polygons, 1)
    np.testing.assert_array_equal(EvaluatedLevel(again, 1).pose(recipe), refine(again.pose(recipe), steps))
