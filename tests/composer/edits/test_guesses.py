"""Landmarks that were only guessed: kept in the document as such, until a person moves or accepts them."""

from __future__ import annotations

from pathlib import Path

import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.document.read import parse_document
from composer.document.text import document_text
from composer.edits.landmarks import accept_guesses, place_landmark, remove_landmark
from composer.edits.lay_regions import laid_regions
from composer.errors import MoueError
from composer.formats.library import open_library
from composer.head.find_landmarks.found import find_landmarks
from tests.awkward_heads import awkward, write

TEXT = """moue = 1
head = "library"
[landmarks.stomion]
vertex = 3
[landmarks.gonion_left] # the jaw's angle
vertex = 7
guess = true
[curves.brow_left]
vertices = [1, 2]
guess = true
"""


def test_a_document_says_which_are_guesses_and_keeps_its_words(tmp_path: Path) -> None:
    (tmp_path / "library").mkdir()
    project = parse_document(TEXT.encode(), tmp_path / "document.toml")
    assert project.guesses == {"gonion_left", "brow_left"}
    assert document_text(project, tmp_path) == TEXT
    accepted = accept_guesses(project, ["gonion_left"])
    text = document_text(accepted, tmp_path)
    assert "# the jaw's angle" in text and text.count("guess = true") == 1
    assert parse_document(text.encode(), project.path) == accepted.with_(text=text)
    moved = place_landmark(project, "gonion_left", 8)
    assert moved.guesses == {"brow_left"} and place_landmark(project, "gonion_left", 7).guesses == {"brow_left"}
    assert remove_landmark(project, "gonion_left").guesses == {"brow_left"}
    assert accept_guesses(project, project.guesses).guesses == frozenset()
    assert place_landmark(moved, "gonion_left", 8) is moved


@pytest.mark.parametrize("said", ["guess = 1", 'guess = "yes"'])
def test_a_guess_is_true_or_false(said: str, tmp_path: Path) -> None:
    (tmp_path / "library").mkdir()
    with pytest.raises(MoueError, match="true or false"):
        parse_document(TEXT.replace("guess = true", said, 1).encode(), tmp_path / "document.toml")
    project = parse_document(TEXT.encode(), tmp_path / "document.toml")
    with pytest.raises(MoueError, match="stomion"):
        accept_guesses(project, ["stomion"])


def test_regions_of_an_unmarked_library_say_what_was_guessed(tmp_path: Path) -> None:
    write(awkward("three_shapes"), tmp_path / "library")
    head = open_library(tmp_path / "library")
    project, _ = laid_regions(head, tmp_path / "document.toml", "landmarks")
    found = find_landmarks(head)
    assert project.guesses == found.guesses & {*found.landmarks.points, *found.landmarks.curves} != set()
    text = document_text(project, tmp_path)
    again = parse_document(text.encode(), project.path)
    assert again.guesses == project.guesses and text.count("guess = true") == len(project.guesses)
    evaluated = EvaluatedDocument.open(again)
    name = sorted(project.guesses & set(project.landmarks))[0]
    accepted = evaluated.again(accept_guesses(again, [name]))
    assert accepted.head is evaluated.head and accepted.raw is not None  # nothing is laid anew
    marked = head.with_(landmarks=find_landmarks(head).landmarks)
    assert laid_regions(marked, tmp_path / "document.toml", "landmarks")[0].guesses == frozenset()
