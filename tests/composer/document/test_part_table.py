"""Parts as a document says them: what is written reads back the same, short, and by hand in several ways."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.document.part_table import part_of, part_table, ranges_of
from composer.document.values import Values
from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part
from tests.awkward_heads import awkward
from tests.small_heads import grid


def said(table: dict) -> Values:
    return Values(table, Path("a.toml"), "part 'one'")


@given(st.sets(st.integers(0, 400)))
def test_ranges_say_the_same_numbers(numbers: set[int]) -> None:
    written = ranges_of(np.array(sorted(numbers), dtype=int))
    assert said({"vertices": written}).ranges("vertices") == sorted(numbers)


@given(st.sets(st.integers(0, 35), min_size=1), st.sampled_from(["skull", "jaw", "surface", "own"]))
def test_any_part_reads_back_as_it_was(vertices: set[int], follows: str) -> None:
    skin = grid(6, 6)
    head = Head("flat", Polygons(skin.counts, skin.indices, 40), np.random.default_rng(0).normal(size=(40, 3)))
    part = Part("one", np.array(sorted(vertices), dtype=np.int32), follows, (0.0, 0.6, 0.8))  # type: ignore[arg-type]
    again = part_of(said(part_table(part, head)), "one", head)
    assert np.array_equal(again.vertices, part.vertices)
    assert (again.follows, again.gaze) == (part.follows, part.gaze)


def test_a_group_a_material_and_pieces_are_said_by_name_and_number() -> None:
    a = awkward("materials_only")
    head = a.head
    for name in a.part_names:
        part = Part(name, a.vertices(name).astype(np.int32))
        table = part_table(part, head)
        assert "material" in table or "component" in table
        assert np.array_equal(part_of(said(table), name, head).vertices, part.vertices)
    bare = head.with_(materials={}, groups={})
    table = part_table(Part("lashes", a.vertices("lashes_upper_left").astype(np.int32)), bare)
    assert len(str(table)) < 80 and list(table) == ["component", "follows"]


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ({"vertices": ["9-3"]}, "the smaller number comes first"),
        ({"vertices": ["3-"]}, "numbers and ranges"),
        ({"vertices": [-3]}, "numbers and ranges"),
        ({"vertices": ["0-99999999999"]}, "smaller number"),
        ({"vertices": [1], "component": 0}, "both component and vertices"),
        ({"material": "skinn"}, "material"),
        ({"vertices": [1], "gaze": [0, 0, 0]}, "gaze without a direction"),
        ({"vertices": [400]}, "names no vertices"),
    ],
)
def test_a_mistake_is_told(table: dict, words: str) -> None:
    skin = grid(6, 6)
    head = Head("flat", skin, np.zeros((36, 3)), materials={"skin": np.arange(25, dtype=np.int32)})
    with pytest.raises(MoueError) as caught:
        part_of(said(table), "one", head)
    assert words in f"{caught.value} {caught.value.hint}"
