"""Landmarks: where they lie, and their file, in both forms, with every mistake named by its line."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.head.landmarks import (
    Landmarks,
    SurfacePoint,
    read_landmark_pairs,
    read_landmarks,
    resolve,
    write_landmarks,
)

POSITIONS = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 4]])

NAMES = st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), min_size=1, max_size=12)
COORDINATE = st.floats(-1e6, 1e6)
BARY = st.tuples(st.floats(0, 0.5), st.floats(0, 0.5)).map(lambda b: (b[0], b[1], 1.0 - b[0] - b[1]))
PLACES = st.one_of(
    st.integers(0, 10**6),
    st.tuples(COORDINATE, COORDINATE, COORDINATE),
    st.builds(SurfacePoint, st.tuples(*[st.integers(0, 99)] * 3), BARY),
)
HEAD = st.builds(
    Landmarks,
    st.dictionaries(NAMES, PLACES, max_size=4),
    st.dictionaries(NAMES, st.lists(PLACES, min_size=1, max_size=4), max_size=3),
)


SCULPT = st.builds(
    lambda marks, count: Landmarks(marks.points, marks.curves, frozenset(sorted(marks.points)[:count])),
    HEAD, st.integers(0, 2),
)  # fmt: skip


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(head=HEAD, sculpt=SCULPT, suffix=st.sampled_from([".toml", ".json"]))
def test_what_is_written_is_read_back(head: Landmarks, sculpt: Landmarks, suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"marks{suffix}"
    write_landmarks(path, head, sculpt)
    assert read_landmark_pairs(path) == (head, sculpt)
    write_landmarks(path, head)
    assert read_landmarks(path) == head


def test_positions_are_in_the_files_unit(tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text("[points.cheek_left]\nhead = [1.0, 2, 3]\nsculpt = [0.1, 0.2, 0.3]\n")
    head, sculpt = read_landmark_pairs(tmp_path / "m.toml", 10.0, 1000.0)
    assert head.points["cheek_left"] == (10.0, 20.0, 30.0)
    assert sculpt.points["cheek_left"] == (100.0, 200.0, 300.0)


def test_the_layout_with_pairs_and_the_short_form(tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text(
        "stomion = 12\n[points]\npronasale = 1412\n[points.gnathion]\nhead = 7\nsculpt = [0.4, 12.9, 148.2]\n"
        "[curves.upper_lid_left]\nhead = [311, 312]\nsculpt = [[31.0, 44.1, 96.0], [36.2, 45.0, 95.1]]\n"
    )
    head, sculpt = read_landmark_pairs(tmp_path / "m.toml")
    assert head.points == {"stomion": 12, "pronasale": 1412, "gnathion": 7}
    assert head.curves["upper_lid_left"].tolist() == [311, 312]
    assert sculpt.points == {"gnathion": (0.4, 12.9, 148.2)}
    assert sculpt.curves["upper_lid_left"] == ((31.0, 44.1, 96.0), (36.2, 45.0, 95.1))


def test_places_resolve_on_a_mesh() -> None:
    """A surface point is the sum of its vertices by their weights."""
    assert resolve(3, POSITIONS).tolist() == [0, 0, 4]
    assert resolve((1.0, 2.0, 3.0), POSITIONS).tolist() == [1, 2, 3]
    assert resolve(SurfacePoint((0, 1, 2), (0.5, 0.25, 0.25)), POSITIONS).tolist() == [0.25, 0.25, 0]
    marks = Landmarks({"a": (0.1, 0.9, 0)}, {"c": [1, (0.0, 0.0, 3.9)]})
    assert marks.vertex("a", POSITIONS) == 2
    assert marks.curve_positions("c", POSITIONS).tolist() == [[1, 0, 0], [0, 0, 3.9]]


def test_an_unknown_name_is_answered_with_the_nearest() -> None:
    with pytest.raises(MoueError, match="no landmark is named 'pronasal'; did you mean pronasale"):
        Landmarks({"pronasale": 1}).point("pronasal")


WRONG = [
    ("[points]\na = 1\nb = \n", 3, "is not TOML"),
    ("[points]\na = 1\na = 2\n", 3, "is not TOML"),
    ("[points]\na = 1\nb = 1.5\n", 3, "'b' is no place"),
    ("[points]\nb = true\n", 2, "'b' is no place"),
    ("[points]\nb = -1\n", 2, "'b' is no place"),
    ("[points]\nb = [1, 2]\n", 2, "'b' is no place"),
    ("[points]\nb = [1, 2, nan]\n", 2, "'b' is no place"),
    ("\n[points.b]\nhead = 1\nscan = 2\n", 2, "'b' has 'scan'"),
    ("\n[points.b]\nsculpt = 1\npinned = 1\n", 2, "neither true nor false"),
    ("\n[points.b]\nhead = 1\npinned = true\n", 2, "is pinned but has no place on the sculpt"),
    ("b = { pinned = true }\n", 1, "is pinned but has no place on the sculpt"),
    ("[curves.c]\nsculpt = [1, 2]\npinned = true\n", 1, "'c' has 'pinned'"),
    ("b = { triangle = [1, 2], bary = [0, 0, 1] }\n", 1, "not three vertices"),
    ("b = { triangle = [1, 2, 3], bary = [0.5, 0.2, 0.2] }\n", 1, "does not sum to one"),
    ("[curves]\nc = 3\n", 2, "'c' is no list of places"),
    ("[curves]\nc = []\n", 2, "'c' is no list of places"),
    ("curves = 3\n", 1, "curves is not a table"),
    ("a = 1\n[points]\na = 1\n", 3, "'a' is there twice"),
]


@pytest.mark.parametrize(("text", "line", "words"), WRONG)
def test_a_mistake_is_named_with_its_line(text: str, line: int, words: str, tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text(text)
    with pytest.raises(MoueError) as caught:
        read_landmarks(tmp_path / "m.toml")
    assert words in str(caught.value) and f"m.toml:{line}: " in str(caught.value)


def test_json_mistakes_are_named_too(tmp_path: Path) -> None:
    for text, words in (
        ('{"points": {\n"a": 1,\n"a": 2}}', "m.json:3: 'a' is there twice"),
        ('{"points": \n {"a": }}', "m.json:2: is not JSON"),
        ("[1, 2]", "m.json:1: is no table"),
        ("[" * 100_000, "nested too deeply"),
        (json.dumps({"points": {"a": 10**400}}), "'a' is no place"),
    ):
        (tmp_path / "m.json").write_text(text)
        with pytest.raises(MoueError, match="m.json") as caught:
            read_landmarks(tmp_path / "m.json")
        assert words in str(caught.value)


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"\x00\x01\x02\xff"])
def test_what_is_no_text_is_said(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_bytes(content)
    with pytest.raises(MoueError, match="is not text"):
        read_landmarks(tmp_path / "m.toml")
    with pytest.raises(MoueError, match="is not there"):
        read_landmarks(tmp_path / "n.toml")
    with pytest.raises(MoueError, match="is a folder"):
        read_landmarks(tmp_path)
