"""One recipe means the same wherever it is asked for: all terms at once, at the cage and at a level."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.checks.of_document import check_recipes
from composer.document.bake import bake
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.errors import MoueError
from composer.formats.registry import read_mesh
from composer.head.levels import levels, refine
from composer.mixing.corrective import Corrective, Trigger
from composer.mixing.recipe import Cell, Recipe, Row
from tests.composer.document.small_document import small_head, small_project

SEEDS = st.integers(0, 2**32 - 1)
EVERYTHING = Recipe(
    "everything",
    (Cell("all", "drop", 0.6), Cell("all", "au1_left", 0.5, True), Cell("brow_left", "lift", 0.7)),
    {"all": Row("add", 0.5)}, 1.33,
)  # fmt: skip
"""A hinge, a mirrored cell, a trigger, the amount of row `all` and a strength that is not 1."""


def document() -> EvaluatedDocument:
    project = small_project().with_(
        recipes=(EVERYTHING,), correctives=(Corrective("skew", (Trigger("all", "drop", 0.8),)),)
    )
    return EvaluatedDocument(project, small_head()).again(project)


def test_bake_check_and_the_evaluated_recipe_agree_on_every_term(tmp_path: Path) -> None:
    evaluated = document()
    whole = EvaluatedRecipe.of(evaluated, EVERYTHING)
    ((_, checked, _),) = check_recipes(evaluated, [EVERYTHING])
    np.testing.assert_array_equal(checked, whole.pose)
    bake(evaluated, tmp_path / "out", [EVERYTHING], steps=2)
    np.testing.assert_allclose(read_mesh(tmp_path / "out/everything.obj").positions, whole.pose, atol=1e-5)
    half = read_mesh(tmp_path / "out/everything_50.obj").positions
    np.testing.assert_allclose(half, whole.on_the_way(0.5).pose, atol=1e-5)
    assert np.abs(half - evaluated.head.neutral - 0.5 * whole.displacement).max() > 0.1  # it turns, and is let in less


def test_a_level_without_detail_is_the_pose_subdivided() -> None:
    evaluated = document()
    steps = levels(evaluated.head.polygons, 2)
    fine = EvaluatedRecipe.of(evaluated, EVERYTHING, level=2)
    np.testing.assert_allclose(fine.pose, refine(EvaluatedRecipe.of(evaluated, EVERYTHING).pose, steps), atol=1e-9)
    np.testing.assert_allclose(fine.displacement, fine.pose - refine(evaluated.head.neutral, steps), atol=1e-9)
    assert EvaluatedLevel(evaluated, 2).coarser(1).steps[0].n_vertices == steps[0].n_vertices


def test_another_strength_multiplies_the_displacement_and_must_be_a_number() -> None:
    evaluated = document()
    one = EvaluatedRecipe.of(evaluated, EVERYTHING, strength=1.0)
    twice = EvaluatedRecipe.of(evaluated, EVERYTHING, strength=2.0)
    np.testing.assert_allclose(twice.displacement, 2.0 * one.displacement, atol=1e-9)
    with pytest.raises(MoueError, match="strength nan is no number"):
        EvaluatedRecipe.of(evaluated, EVERYTHING, strength=float("nan"))


@settings(deadline=None, max_examples=20)
@given(SEEDS)
def test_the_sources_of_the_base_row_sum_to_its_displacement(seed: int) -> None:
    rng, evaluated = np.random.default_rng(seed), document()
    cells = tuple(
        Cell("all", name, float(rng.uniform(-1, 2)), bool(rng.random() < 0.5)) for name in ("lift", "au1_left", "drop")
    )
    recipe = Recipe("r", cells, {"all": Row("add", 1.0)}, float(rng.uniform(0.2, 2)))
    evaluated = evaluated.again(evaluated.project.with_(recipes=(recipe,)))
    one = EvaluatedRecipe.of(evaluated, recipe)
    summed = np.sum([source.delta for source in one.sources], axis=0)
    np.testing.assert_allclose(summed, one.displacement, atol=1e-9)
