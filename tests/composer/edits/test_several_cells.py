"""Several cells at once: one edit does what one edit a cell would do, and a search finds what is asked for."""

from __future__ import annotations

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from composer.document.project import Project, Region
from composer.edits.cells import remove_cell, set_cell
from composer.edits.several_cells import changed_by, moved_to, named_so, remove_cells, set_cells
from composer.mixing.recipe import WEIGHT_RANGE, Cell, Recipe

REGIONS, SHAPES = ["all", "brow_left", "brow_right", "mouth"], ["anger", "joy", "au01"]
weights = st.floats(*WEIGHT_RANGE)
cells = st.lists(
    st.builds(Cell, st.sampled_from(REGIONS), st.sampled_from(SHAPES), weights, st.booleans()),
    unique_by=lambda c: c.key, max_size=12,
)  # fmt: skip


def project(held: list[Cell]) -> Project:
    regions = tuple(Region(name, {"from": "file"}) for name in REGIONS[1:])
    return Project(Path("a.toml"), Path("head"), regions=regions, recipes=(Recipe("r", tuple(held)),))


@given(cells, cells)
def test_many_are_set_and_removed_as_one_by_one(held: list[Cell], more: list[Cell]) -> None:
    before = one = other = project(held)
    for cell in more:
        one = set_cell(one, "r", cell)
        other = remove_cell(other, "r", cell.key)
    assert set_cells(before, "r", more).recipe("r") == one.recipe("r")
    assert remove_cells(before, "r", {c.key for c in more}).recipe("r") == other.recipe("r")


@given(cells, st.floats(-0.5, 0.5))
def test_the_same_amount_goes_to_each_within_the_bounds(held: list[Cell], amount: float) -> None:
    low, high = WEIGHT_RANGE
    for old, new in zip(held, changed_by(held, amount), strict=True):
        assert new.key == old.key and low <= new.weight <= high
        assert abs(new.weight - min(max(old.weight + amount, low), high)) <= 5.1e-4


@given(cells, st.sampled_from(REGIONS))
def test_a_copied_row_goes_into_another_and_several_rows_stay(held: list[Cell], region: str) -> None:
    moved = moved_to(held, region)
    assert [(c.shape, c.weight, c.mirrored) for c in moved] == [(c.shape, c.weight, c.mirrored) for c in held]
    if len({c.region for c in held}) == 1:
        assert {c.region for c in moved} == {region}
    else:
        assert list(moved) == held


def test_a_search_finds_cells_by_either_name() -> None:
    recipe = Recipe("r", (Cell("brow_left", "anger", 1.0), Cell("mouth", "joy", 0.5), Cell("mouth", "anger", 0.2)))
    assert named_so(recipe, "brow", REGIONS, SHAPES, {}) == ({"brow_left", "brow_right"}, {"anger"})
    assert named_so(recipe, "mouth joy", REGIONS, SHAPES, {}) == ({"mouth"}, {"joy"})
    assert named_so(recipe, "glad", REGIONS, SHAPES, {"joy": "glad"}) == ({"mouth"}, {"joy"})
    assert named_so(recipe, "", REGIONS, SHAPES, {}) == (set(REGIONS), set(SHAPES))
