"""What mends a finding: which cells are lowered together, and that each mend is one edit of the recipe it is about."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from composer.checks.finding import Finding
from composer.checks.mends import by_sculpt, mends_of, moving_together
from composer.document.project import Project
from composer.mixing.recipe import Cell, Recipe

X = np.arange(50.0)
PLACES = {"a": 5, "b": 15, "c": 25, "d": 45}
MASKS = {name: np.clip(1.0 - np.abs(X - at) / 8.0, 0.0, 1.0) for name, at in PLACES.items()}
RECIPE = Recipe("glad", tuple(Cell(name, "joy", 0.8) for name in "abcd") + (Cell("b", "fear", 0.5),))
PROJECT = Project(Path("clock.toml"), Path("keeper"), recipes=(RECIPE, Recipe("other", (Cell("a", "joy", 1.0),))))
SEAM = Finding("seam.ramp", "warning", "torn", value=30.0, unit="percent more", where="a", ramp_mm=20.0)


def test_what_is_lowered_is_what_moves_together_and_no_more() -> None:
    assert moving_together("a", RECIPE, MASKS) == ["a", "b", "c"]  # d lies apart
    mend = next(each for each in mends_of(SEAM, RECIPE, MASKS) if each.name == "lower")
    after = mend.edit(PROJECT)
    weights = {(cell.region, cell.shape): cell.weight for cell in after.recipe("glad").cells}
    assert weights["a", "joy"] == weights["b", "joy"] == weights["c", "joy"] < 0.8 / 3.0
    assert weights["d", "joy"] == 0.8 and weights["b", "fear"] == 0.5
    assert after.recipe("other") is PROJECT.recipe("other")


def test_the_seamless_join_is_offered_where_it_is_not_there_yet() -> None:
    names = [each.name for each in mends_of(SEAM, RECIPE, MASKS)]
    assert names == ["seamless", "widen", "lower"]
    joined = RECIPE.with_(join="seamless")
    assert [each.name for each in mends_of(SEAM, joined, MASKS)] == ["widen", "lower"]
    assert mends_of(SEAM, RECIPE, MASKS)[0].edit(PROJECT).recipe("glad").join == "seamless"


@given(st.floats(10.1, 500.0), st.floats(10.1, 500.0))
def test_a_worse_border_is_lowered_more_and_a_share_of_the_weights_stays(one: float, other: float) -> None:
    left = []
    for value in sorted((one, other)):
        seam = Finding("seam.ramp", "error", "torn", value=value, where="d")
        after = next(m for m in mends_of(seam, RECIPE, MASKS) if m.name == "lower").edit(PROJECT)
        left.append(next(c.weight for c in after.recipe("glad").cells if c.region == "d"))
    assert 0.8 > left[0] >= left[1] > 0.0


def test_a_finding_somewhere_belongs_to_the_region_that_has_most_of_its_places() -> None:
    pinch = Finding("pinch.crushed", "warning", "crushed", vertices=np.array([24, 25], dtype=np.int32), where="chin")
    lower = next(each for each in mends_of(pinch, RECIPE, MASKS) if each.name == "lower")
    assert " c " in f" {lower.told} " and by_sculpt(pinch) and not by_sculpt(SEAM)
    assert mends_of(Finding("empty.cell", "note", "moves nothing"), RECIPE, MASKS) == []
