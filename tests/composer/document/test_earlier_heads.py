"""Earlier heads of a document: named in its text, open as shapes, and left out of what is about expressions."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.autosave import says_the_same
from composer.document.earlier_heads import earlier_heads, laid_over
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import EarlierFile
from composer.document.store import open_document, save_document
from composer.edits.match import Matcher
from composer.edits.split import split_shapes
from composer.errors import MoueError
from composer.formats.mesh import mesh_of
from composer.formats.registry import write_mesh
from composer.mixing.recipe import Cell, Recipe
from tests.composer.document.carried_document import document_on_disk
from tests.composer.document.small_document import N


@pytest.fixture
def document(tmp_path: Path) -> EvaluatedDocument:
    """A document that names two earlier heads: one in cm elsewhere, one beside it."""
    old = document_on_disk(tmp_path)
    rng = np.random.default_rng(6)
    (tmp_path / "elsewhere").mkdir()
    for place, unit in (("elsewhere/aunt.obj", "cm"), ("old/uncle.obj", "mm")):
        other = old.library.neutral + rng.normal(0, 1.5, (N, 3))
        write_mesh(tmp_path / place, mesh_of(old.library, other, unit=unit))
    aunt, uncle = EarlierFile(tmp_path / "elsewhere/aunt.obj", "cm"), EarlierFile(tmp_path / "old/uncle.obj")
    files = {"aunt": aunt, "uncle": uncle}
    save_document(old.project.with_(earlier=files), old.project.path)
    return EvaluatedDocument.open(open_document(old.project.path))


def test_they_are_named_in_the_text_and_read_back(document: EvaluatedDocument, tmp_path: Path) -> None:
    text = document.project.path.read_text()
    assert "[earlier.aunt]" in text and 'file = "../elsewhere/aunt.obj"' in text and 'unit = "cm"' in text
    place = tmp_path / "third/clock.moue"
    place.parent.mkdir()
    save_document(document.project, place)
    moved = open_document(place)
    assert [each.path.resolve() for each in moved.earlier.values()] == [
        each.path.resolve() for each in document.project.earlier.values()
    ]
    assert says_the_same(document.project, open_document(document.project.path))
    assert not says_the_same(document.project, document.project.with_(earlier={}))


def test_they_open_as_shapes_that_lead_to_them(document: EvaluatedDocument) -> None:
    heads = earlier_heads(document)
    assert [head.name for head in heads] == ["aunt", "uncle"] == document.head.shape_names[-2:]
    for head in heads:
        want = laid_over(head.positions, document.head)
        pose = document.pose(Recipe("whole", (Cell("all", head.name, 1.0),)))
        skin = document.head.skin
        np.testing.assert_allclose(pose[skin], want[skin], atol=1e-4)


def test_they_are_no_expressions(document: EvaluatedDocument) -> None:
    assert [shape.name for shape in document.head.expressions] == document.head.shape_names[:-2]
    assert not {"aunt", "uncle"} & set(Matcher(document).shapes)
    assert not any(name.startswith(("aunt", "uncle")) for name in split_shapes(document, "regions").names)
    plain = document.again(document.project.with_(earlier={}))
    for region in ("moving", "upper", "glabella"):
        np.testing.assert_array_equal(document.raw[region], plain.raw[region])


def test_an_edit_does_not_read_them_again(document: EvaluatedDocument) -> None:
    shapes = document.project.shapes
    again = document.again(document.project.with_(shapes={**shapes, "lift": {"label": "up"}}, landmarks={"a": 3}))
    assert again.head is not document.head
    assert again.head.shape("aunt") is document.head.shape("aunt")


def test_one_that_is_gone_or_of_another_topology_is_left_out_with_its_reason(
    document: EvaluatedDocument, tmp_path: Path
) -> None:
    (tmp_path / "elsewhere/aunt.obj").unlink()
    (tmp_path / "old/uncle.obj").write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n")
    opened = EvaluatedDocument.open(open_document(document.project.path))
    assert not any(shape.is_head for shape in opened.head.shapes)
    assert sum("is left out" in note for note in opened.notes) == 2
    assert earlier_heads(opened) == ()
    with pytest.raises(MoueError, match="aunt"):
        opened.check(Recipe("nose", (Cell("all", "aunt", 1.0),)))


@pytest.mark.parametrize(("said", "words"), [
    ('[earlier.a]\nunit = "cm"\n', "names no file"), ('[earlier.a]\nfile = "x.obj"\nsize = 2\n', "unknown key"),
    ("earlier = 3\n", "tables"),
])  # fmt: skip
def test_a_table_that_is_wrong_is_told_in_one_line(tmp_path: Path, said: str, words: str) -> None:
    file = tmp_path / "document.toml"
    file.write_text('moue = 1\nhead = "library"\n' + said)
    with pytest.raises(MoueError, match=words):
        open_document(file)


def test_a_name_that_a_shape_has_is_refused(document: EvaluatedDocument) -> None:
    earlier = document.project.earlier
    with pytest.raises(MoueError, match="has the name of a shape"):
        document.again(document.project.with_(earlier={**earlier, "lift": earlier["uncle"]}))


def test_a_folder_gives_every_head_in_it_by_its_name(document: EvaluatedDocument, tmp_path: Path) -> None:
    folder = tmp_path / "kin"
    folder.mkdir()
    for name in ("aunt", "uncle"):
        place = document.project.earlier[name].path
        write_mesh(folder / f"{name}.obj", mesh_of(document.library, earlier_heads(document)[name == "uncle"].positions,
                                                   unit="mm"))  # fmt: skip
        assert place.is_file()
    project = document.project.with_(earlier={"kin": EarlierFile(folder, "mm")})
    save_document(project, project.path)
    opened = EvaluatedDocument.open(open_document(project.path))
    assert [head.name for head in earlier_heads(opened)] == ["aunt", "uncle"] == opened.head.shape_names[-2:]
    for name in ("aunt", "uncle"):
        np.testing.assert_allclose(opened.head.shape(name).delta, document.head.shape(name).delta, atol=1e-3)
