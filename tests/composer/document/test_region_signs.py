"""The number and colour of a region: no edit of another region changes them, and a document keeps them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.document.project import Project, Region
from composer.document.read import parse_document
from composer.document.region_signs import signs_of, with_signs_kept
from composer.document.text import document_text
from composer.edits.regions import add_region, delete_region, duplicate_region, rename_region, split_region
from composer.errors import MoueError
from masks.hues import HUES, hues_apart

N = 60


def _project(count: int) -> tuple[Project, dict[str, np.ndarray]]:
    """Regions side by side, each over a part of its neighbours."""
    x = np.arange(float(N))
    regions = tuple(Region(f"r{i}", {"from": "vertices", "vertices": [i]}) for i in range(count))
    masks = {r.name: np.clip(1.0 - np.abs(x - 5.0 * i) / 6.0, 0.0, 1.0) for i, r in enumerate(regions)}
    return Project(Path("clock.toml"), Path("keeper"), regions=regions), masks


def _edited(
    project: Project, masks: dict[str, np.ndarray], edit: tuple[str, int], step: int
) -> tuple[Project, dict[str, str]]:
    """The project after one edit, and what became of each name; `masks` follow."""
    kind, number = edit
    names = [r.name for r in project.regions]
    name = names[number % len(names)] if names else ""
    became = {each: each for each in names}
    if kind == "add" or not names:
        fresh = f"n{step}"
        masks[fresh] = np.zeros(N)
        return add_region(project, Region(fresh, {"from": "vertices", "vertices": [0]})), became
    if kind == "delete":
        del became[name]
        return delete_region(project, name), became
    if kind == "rename":
        became[name] = f"m{step}"
        masks[became[name]] = masks[name]
        return rename_region(project, name, became[name]), became
    if kind == "split":
        became[name] = f"{name}_left"
        masks[f"{name}_left"] = masks[f"{name}_right"] = 0.5 * masks[name]
        return split_region(project, name, masks[name], np.arange(N) - 30.0, 8.0), became
    project, copy = duplicate_region(project, name)
    masks[copy] = masks[name]
    return project, became


KINDS = st.sampled_from(["add", "delete", "rename", "split", "copy"])


@given(st.integers(1, 12), st.lists(st.tuples(KINDS, st.integers(0, 40)), max_size=8))
def test_no_edit_changes_the_sign_of_another_region(count: int, edits: list[tuple[str, int]]) -> None:
    project, masks = _project(count)
    for step, edit in enumerate(edits):
        before = signs_of(project, masks)
        became: dict[str, str] = {}

        def edited(
            given: Project, edit: tuple[str, int] = edit, step: int = step, became: dict[str, str] = became
        ) -> Project:
            after, named = _edited(given, masks, edit, step)
            became.update(named)
            return after

        after = with_signs_kept(project, edited, before)
        signs = signs_of(after, masks)
        for old, new in became.items():
            assert signs[new].number == before[old].number
            assert signs[new].hue == before[old].hue or not before[old].settled
        numbers = [sign.number for sign in signs.values()]
        assert len(set(numbers)) == len(numbers)
        project = after


@given(st.integers(0, 9), st.integers(0, 8))
def test_a_document_keeps_them(count: int, gone: int) -> None:
    project, masks = _project(count)
    if count:
        project = with_signs_kept(project, lambda p: delete_region(p, f"r{gone % count}"), signs_of(project, masks))
    again = parse_document(document_text(project, Path()).encode(), project.path)
    assert again.regions == project.regions
    assert signs_of(again, masks) == signs_of(project, masks)


@given(st.lists(st.one_of(st.none(), st.integers(0, HUES - 1)), min_size=1, max_size=12), st.integers(0, 99))
def test_held_colours_stay_and_the_others_stand_apart_where_they_can(held: list[int | None], seed: int) -> None:
    masks = [np.clip(1.0 - np.abs(np.arange(10.0 * len(held)) - 10.0 * i) / 11.0, 0.0, 1.0) for i in range(len(held))]
    chosen = hues_apart(masks, held)
    assert all(0 <= hue < HUES and was in (None, hue) for was, hue in zip(held, chosen, strict=True))
    for i, was in enumerate(held):
        beside = {chosen[j] for j in (i - 1, i + 1) if 0 <= j < len(held)}
        assert was is not None or chosen[i] not in beside  # two neighbours leave five colours


TWICE = "number = 2\n[regions.b]\nfrom = 'file'\nnumber = 2"


@pytest.mark.parametrize("said", ["number = 0", "colour = 8", 'number = "3"', TWICE])
def test_signs_that_cannot_be(said: str) -> None:
    text = f'moue = 1\nhead = "keeper"\n[regions.a]\nfrom = "file"\n{said}\n'
    with pytest.raises(MoueError, match="number|colour"):
        parse_document(text.encode(), Path("clock.toml"))
