"""Names that become files: no path comes out, no two names meet, and good names stay as they are."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.head.file_names import (
    LONGEST_FILE,
    check_file_names,
    check_name,
    file_fault,
    file_names,
    renamed,
    same_file,
)  # fmt: skip

HOSTILE = (
    "../../evil", "/etc/evil", "C:\\evil", "..", ".", "", " ", "a/b", "a\\b", "a:b", "nul\0", "a\x1b[31mb", "a\nb",
    "con", "COM1", "lpt9.brow", "aux.", "grin.", "grin ", " grin", ".hidden", "x" * 300, "\u202egrin", "what?", "a*",
    "com\u00b9", "\ud800", "\u00fc" * 150,
)  # fmt: skip
"""Separators, absolute paths, drives, devices, what cannot be seen, dots and blanks at the ends, what is too long
(Microsoft, "Naming Files, Paths, and Namespaces"; POSIX.1-2017, 3.170)."""


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_is_made_safe_and_where_a_person_chose_it_refused(name: str, tmp_path: Path) -> None:
    stem = file_names([name], ".obj")[name]
    assert file_fault(stem + ".obj") is None
    file = tmp_path / f"{stem}.obj"
    file.write_text("")
    assert [path.name for path in tmp_path.iterdir()] == [file.name]
    with pytest.raises(MoueError) as caught:
        check_name(name, "recipe", "document.toml")
    assert str(caught.value).isprintable() and len(str(caught.value)) <= 200


@given(st.lists(st.text(max_size=80) | st.sampled_from(HOSTILE), max_size=12))
def test_no_path_comes_out_and_no_two_names_meet(names: list[str]) -> None:
    made = file_names(names, ".obj")
    assert list(made) == list(dict.fromkeys(names))
    for stem in made.values():
        whole = stem + ".obj"
        assert file_fault(whole) is None and Path(whole).name == whole and len(whole.encode()) <= LONGEST_FILE
    assert len({same_file(stem) for stem in made.values()}) == len(made)
    assert made == file_names(names, ".obj")


@given(st.lists(st.from_regex(r"[a-z][a-z0-9_.-]{0,20}[a-z0-9]", fullmatch=True), unique=True, max_size=8))
def test_plain_names_stay(names: list[str]) -> None:
    names = [name for name in names if file_fault(name) is None]
    assert file_names(names, ".obj") == {name: name for name in names}
    check_file_names(names, ".obj", "shape", None)
    assert renamed(names, ".obj") == []


def test_letters_of_every_language_and_a_blank_before_the_suffix_stay() -> None:
    names = ["L\u00e4cheln", "\u7b11\u9854", "grin ", "mouth left"]
    assert file_names(names, ".obj") == {name: name for name in names}


def test_names_that_differ_in_case_or_in_composition_are_two_files() -> None:
    composed, apart = "L\u00e4cheln", unicodedata.normalize("NFD", "L\u00e4cheln")
    made = file_names(["Grin", "grin", "GRIN", composed, apart])
    assert made["Grin"] == "Grin" and made[composed] == composed
    assert len({same_file(stem) for stem in made.values()}) == 5
    for pair in (["Grin", "grin"], [composed, apart]):
        with pytest.raises(MoueError, match="would be one file"):
            check_file_names(pair, ".obj", "shape", None)
    with pytest.raises(MoueError, match="differ only in case"):
        check_name("grin", "recipe", None, ["Grin"])


def test_what_is_written_otherwise_is_said() -> None:
    (said,) = renamed(["grin", "../../evil.brow"], ".obj")
    assert said.startswith("'../../evil.brow' is written as evil_brow_") and said.isprintable()
