"""Trials: a sweep reaches both ends, the way between two poses is straight, chance is the same for one seed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.document.evaluated import EvaluatedDocument
from composer.edits.sides import linked
from composer.edits.trials import Travel, eased, random_recipe, sweep
from composer.errors import MoueError
from composer.mixing.recipe import Cell
from tests.composer.document.small_document import small_head, small_project

HEAD = small_head()
PROJECT = small_project()
MIXER = EvaluatedDocument(PROJECT, HEAD).mixer
A, B = PROJECT.recipe("doubt"), PROJECT.recipe("call")
REGIONS = ["brow_left", "brow_right", "glabella", "dots"]
unit = st.floats(0, 1)


@given(st.floats(-1, 2), st.floats(-1, 2), st.integers(2, 30))
def test_a_sweep_is_even_and_ends_exactly(low: float, high: float, steps: int) -> None:
    made = sweep(A, ("all", "lift", False), low, high, steps)
    weights = [recipe.cells[0].weight for recipe in made]
    assert (weights[0], weights[-1], len(weights)) == (low, high, steps)
    np.testing.assert_allclose(weights, np.linspace(low, high, steps), atol=1e-12)
    assert all(recipe.with_(cells=A.cells) == A and recipe.cells[1:] == A.cells[1:] for recipe in made)


def test_a_sweep_of_a_new_cell_lists_it_last_and_stays_in_range() -> None:
    assert sweep(A, ("dots", "skew", True), 0, 1, 3)[1].cells[-1] == Cell("dots", "skew", 0.5, True)
    for low, high, steps in ((-2, 1, 3), (0, 3, 3), (0, 1, 1)):
        with pytest.raises(MoueError):
            sweep(A, ("all", "lift", False), low, high, steps)


@given(unit, unit, unit)
def test_the_way_never_turns_back_and_reaches_both_ends(a: float, b: float, pace: float) -> None:
    assert eased(0, pace) == 0.0 and eased(1, pace) == 1.0
    low, high = sorted((a, b))
    assert 0.0 <= eased(low, pace) <= eased(high, pace) + 1e-15 <= 1.0 + 1e-15
    assert abs(eased(a, pace) + eased(1.0 - a, pace) - 1.0) < 1e-12


@given(unit, unit)
@settings(deadline=None)
def test_the_way_is_a_straight_line_of_displacements(time: float, pace: float) -> None:
    start, end = MIXER.displacement(A), MIXER.displacement(B)
    np.testing.assert_array_equal(Travel(start, end).displacement(0.0, pace), start)
    np.testing.assert_array_equal(Travel(start, end).displacement(1.0, pace), end)
    made = Travel(start, end).displacement(time, pace)
    np.testing.assert_allclose(made, start + eased(time, pace) * (end - start), atol=1e-12 * HEAD.diagonal)


@given(st.integers(0, 2**32 - 1), st.integers(0, 24), st.floats(-1, 2), st.floats(-1, 2), st.booleans())
def test_chance_keeps_to_its_limits_and_its_seed(seed: int, cells: int, a: float, b: float, symmetric: bool) -> None:
    limits = (min(a, b), max(a, b))
    made = random_recipe(seed, REGIONS, HEAD.shape_names, cells, limits, symmetric)
    assert made == random_recipe(seed, REGIONS, HEAD.shape_names, cells, limits, symmetric)
    assert all(limits[0] <= cell.weight <= limits[1] for cell in made.cells)
    assert len({cell.key for cell in made.cells}) == len(made.cells)
    if not symmetric:
        assert len(made.cells) == cells
        return
    held = set(made.cells)
    others = [linked(cell, REGIONS, HEAD.shape_names) for cell in made.cells]
    assert {other for other in others if other is not None} <= held


def test_seeds_differ_and_what_cannot_be_drawn_is_told() -> None:
    drawn = {random_recipe(seed, REGIONS, HEAD.shape_names, 5).cells for seed in range(20)}
    assert len(drawn) == 20
    for cells, limits in ((25, (0.0, 1.0)), (2, (-1.5, 1.0)), (2, (1.0, 0.0)), (2, (float("nan"), 1.0))):
        with pytest.raises(MoueError):
            random_recipe(1, REGIONS, HEAD.shape_names, cells, limits)
