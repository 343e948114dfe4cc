"""Reference pictures of a document: read, refused, written back, followed to another folder, and edited."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from composer.document.autosave import keep, says_the_same, waiting
from composer.document.carried_beside import copied_beside
from composer.document.history import History
from composer.document.read import parse_document
from composer.document.reference_picture import ReferencePicture
from composer.document.step_words import step_words
from composer.document.store import open_document, save_document
from composer.document.text import document_text
from composer.edits.references import delete_reference, lay_picture, place_reference, replace_reference
from composer.errors import MoueError
from composer.viewer.session.reference_pictures import MOST_SIDE, picture_of

TEXT = """moue = 1
head = "library"
[references.front]   # the maquette
file = "pictures/front.png"
opacity = 0.4
over = true
middle = [0.1, -0.25]
height = 1.5
[views.whole]
[references."side, 1924"]
file = "side.jpg"
hidden = true
"""


def test_references_are_read_and_written_back() -> None:
    project = parse_document(TEXT.encode(), Path("document.toml"))
    front, side = project.references
    assert front == ReferencePicture("front", "pictures/front.png", 0.4, True, (0.1, -0.25), 1.5)
    assert side == ReferencePicture("side, 1924", "side.jpg", hidden=True)
    assert document_text(project, Path()) == TEXT
    placed = place_reference(project, "side, 1924", (0.123456, 0.0), 0.333333)
    text = document_text(placed, Path())
    assert "# the maquette" in text and "middle = [0.1235, 0.0]" in text
    assert parse_document(text.encode(), Path("document.toml")).references == placed.references


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("[references.a]", "reference 'a' names no file; add file ="),
        ("[references.a]\nfile = ''", "needs file to be a text"),
        ("[references.a]\nfile = 'a.png'\nopacity = 1.5", "needs opacity to be a number from 0 to 1, not 1.5"),
        ("[references.a]\nfile = 'a.png'\nheight = 0", "needs height to be a number from 0.02 to 20, not 0"),
        ("[references.a]\nfile = 'a.png'\nmiddle = [1, 2, 3]", "needs middle to be two numbers"),
        ("[references.a]\nfile = 'a.png'\nmiddle = [1, inf]", "needs middle to be a number from -10 to 10"),
        ("[references.a]\nfile = 'a.png'\nover = 1", "needs over to be true or false"),
        ("[references.a]\nfile = 'a.png'\nplace = 1", "has an unknown key 'place'"),
        ("[references.' a']\nfile = 'a.png'", "a reference may not be named ' a'"),
    ],
)
def test_a_bad_reference_is_one_line(table: str, words: str) -> None:
    with pytest.raises(MoueError) as told:
        parse_document(f'moue = 1\nhead = "library"\n{table}'.encode(), Path("document.toml"))
    assert words in str(told.value) and "\n" not in str(told.value) and "document.toml" in str(told.value)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a library's folder, a picture, and the document that refers to it."""
    (tmp_path / "library").mkdir()
    (tmp_path / "pictures").mkdir()
    Image.fromarray(np.full((4, 6, 3), 90, np.uint8)).save(tmp_path / "pictures/front.png")
    (tmp_path / "document.toml").write_text(TEXT)
    return tmp_path


def test_a_picture_stays_where_it_is_and_its_path_follows_the_document(folder: Path) -> None:
    project = open_document(folder / "document.toml")
    (folder / "elsewhere").mkdir()
    save_document(project, folder / "elsewhere" / "again.moue")
    again = open_document(folder / "elsewhere" / "again.moue")
    assert again.references[0].file == "../pictures/front.png"
    place = folder / ".document.toml.autosave.moue"
    keep(project, place)
    assert waiting(folder / "document.toml", place) is None, "the copy says the same as the document"
    changed = delete_reference(project, "side, 1924")
    assert not says_the_same(changed, project)
    keep(changed, place)
    assert waiting(folder / "document.toml", place) is not None


def test_a_carried_document_gets_a_copy(folder: Path) -> None:
    project = open_document(folder / "document.toml")
    (folder / "carried").mkdir()
    new = project.with_(path=folder / "carried" / "document.toml")
    assert copied_beside(project, new, folder / "carried") == {"pictures/front.png": "front.png"}
    assert (folder / "carried/front.png").read_bytes() == (folder / "pictures/front.png").read_bytes()


def test_pictures_are_laid_changed_and_taken_away_with_undo(folder: Path) -> None:
    history = History(open_document(folder / "document.toml"))
    history.apply(lambda p: lay_picture(p, folder / "pictures/front.png")[0])
    assert [(r.name, r.file) for r in history.project.references][-1] == ("front_2", "pictures/front.png")
    before = history.project
    history.apply(lambda p: replace_reference(p, "front_2", replace(p.reference("front_2"), over=True)))
    assert step_words(before, history.project) == "reference front_2 changed"
    with pytest.raises(MoueError, match="is there already"):
        replace_reference(history.project, "front_2", replace(history.project.reference("front_2"), name="front"))
    with pytest.raises(MoueError, match="did you mean front"):
        delete_reference(history.project, "frontt")
    history.apply(lambda p: delete_reference(p, "front_2"))
    for _ in range(3):
        history.undo()
    assert document_text(history.project, folder) == TEXT
    outside = folder.parent / "outside.png"
    with pytest.raises(MoueError, match="a reference picture lies outside its folder"):
        lay_picture(history.project, outside)


def test_large_pictures_are_held_small_and_what_is_none_is_one_line(tmp_path: Path) -> None:
    Image.new("L", (3 * MOST_SIDE, 40), 77).save(tmp_path / "wide.png")
    held = picture_of(tmp_path / "wide.png")
    assert held.shape[1] == MOST_SIDE and held.shape[2] == 4 and (held[:, :, 3] == 255).all()
    assert (held[:, :, :3] == 77).all()
    (tmp_path / "words.png").write_text("words")
    for name, words in (("gone.png", "is not there"), ("words.png", "is no picture that can be read")):
        with pytest.raises(MoueError, match=words):
            picture_of(tmp_path / name)
