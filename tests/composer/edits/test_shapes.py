"""Shapes kept from a pose and what is said of shapes and landmarks, in memory, on disk and in a head."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.document.read import parse_document
from composer.document.store import open_document, save_document
from composer.edits import landmarks, shapes
from composer.edits.cells import set_cell
from composer.errors import MoueError
from composer.head.places import SurfacePoint
from composer.mixing.recipe import Cell, Recipe
from tests.composer.document.small_document import N, small_head, small_project

HEAD = small_head()
PROJECT = small_project()
TEXT = """# the tide clock
moue = 1
head = "library"
[shapes.lift]  # said of it: nothing bad
label = "the lift"  # as shown
marked = true
[landmarks]
sellion = { vertex = 3 }  # pressed twice
[landmarks.cheek]
triangle = [0, 1, 8]
bary = [0.5, 0.25, 0.25]
[recipes.doubt]
cells = []
"""


def kept(project: Project = PROJECT, name: str = "half doubt") -> tuple[Project, np.ndarray]:
    delta = EvaluatedDocument(project, HEAD).mixer.displacement(project.recipe("doubt"))
    return shapes.keep_shape(project, name, delta, [*HEAD.shape_names, HEAD.neutral_name]), delta.astype(np.float32)


def test_a_kept_pose_as_a_shape_gives_the_pose() -> None:
    project, delta = kept()
    project = project.with_(recipes=(*project.recipes, Recipe("again", (Cell("all", "half doubt", 1.0),))))
    evaluated = EvaluatedDocument(project, HEAD)
    assert evaluated.head.shape_names == [*HEAD.shape_names, "half doubt"]
    pose = evaluated.pose(project.recipe("again"))
    np.testing.assert_allclose(pose, evaluated.pose(project.recipe("doubt")), atol=1e-6 * HEAD.diagonal)
    np.testing.assert_array_equal(evaluated.head.shape("half doubt").delta, delta)


@pytest.mark.parametrize("file", ["packed.moue", "document.toml"])
@pytest.mark.parametrize("name", ["half doubt", "半分の疑い", "É.fou", "A" * 120])
def test_a_kept_shape_comes_back_from_disk(tmp_path: Path, file: str, name: str) -> None:
    project, delta = kept(name=name)
    save_document(shapes.label_shape(project, name, "  half a\ndoubt "), tmp_path / file)
    again = open_document(tmp_path / file)
    assert shapes.kept_shapes(again) == [name] and again.shapes[name]["label"] == "half a doubt"
    np.testing.assert_array_equal(EvaluatedDocument(again, HEAD).head.shape(name).delta, delta)
    first = (tmp_path / file).read_bytes()
    save_document(again, tmp_path / file)
    assert (tmp_path / file).read_bytes() == first


def test_names_and_arrays_that_cannot_be_kept() -> None:
    project, delta = kept()
    for name in ("lift", "neutral", "half doubt", "Half Doubt", "a/b", "", "con"):
        with pytest.raises(MoueError):
            shapes.keep_shape(project, name, delta, [*HEAD.shape_names, "neutral"])
    for wrong in (delta[:, :2], np.where(delta == 0, np.nan, delta), delta.ravel(), delta + 1j, np.full((N, 3), 1e60)):
        with pytest.raises(MoueError):
            shapes.keep_shape(PROJECT, "other", wrong)
    with pytest.raises(MoueError, match="is kept in the document, and the head has one too"):
        EvaluatedDocument(shapes.keep_shape(PROJECT, "lift", delta), HEAD)
    with pytest.raises(MoueError, match="of 4 vertices, the head has"):
        EvaluatedDocument(shapes.keep_shape(PROJECT, "short", delta[:4]), HEAD)


def test_a_shape_in_use_is_not_deleted_and_the_recipes_are_named() -> None:
    project, _ = kept()
    used = set_cell(project, "call", Cell("all", "half doubt", 0.0))
    with pytest.raises(MoueError, match="is used by call; take its cells out first"):
        shapes.delete_kept_shape(used, "half doubt")
    through = project.with_(shapes={**project.shapes, "lift": {"inbetweens": [{"at": 0.5, "target": "half doubt"}]}})
    with pytest.raises(MoueError, match="in-between of 'lift'"):
        shapes.delete_kept_shape(through, "half doubt")
    assert EvaluatedDocument(through, HEAD).head.shape("lift").inbetweens[0].at == 0.5
    with pytest.raises(MoueError, match="kept shape"):
        shapes.delete_kept_shape(project, "lift")
    gone = shapes.delete_kept_shape(project, "half doubt")
    assert gone.shapes == PROJECT.shapes and gone.stored.keys() == PROJECT.stored.keys()


def test_what_is_said_is_taken_back_without_a_trace() -> None:
    marked = shapes.mark_shape(PROJECT, "lift", True)
    project = shapes.hide_shape(shapes.group_shape(marked, "lift", "tide"), "lift", True)
    assert project.shapes["lift"] == {"marked": True, "group": "tide", "hidden": True}
    for undo in (lambda p: shapes.mark_shape(p, "lift", False), lambda p: shapes.group_shape(p, "lift", " "),
                 lambda p: shapes.hide_shape(p, "lift", False)):  # fmt: skip
        project = undo(project)
    assert project.shapes == PROJECT.shapes
    assert shapes.mark_shape(PROJECT, "drop", False) is PROJECT
    assert shapes.mark_shape(PROJECT, "drop", True).shapes["drop"] == {"hinge": "auto", "marked": True}


def test_a_label_leaves_the_librarys_own_in_betweens() -> None:
    between = EvaluatedDocument(
        PROJECT.with_(shapes={"drop": {"inbetweens": [{"at": 0.5, "target": "drop_50"}]}}), HEAD
    ).head
    labelled = EvaluatedDocument(PROJECT.with_(shapes={"drop": {"label": "the drop"}}), between)
    assert len(labelled.head.shape("drop").inbetweens) == 1


def test_comments_stay_and_documents_of_before_still_read(tmp_path: Path) -> None:
    path = tmp_path / "document.toml"
    path.write_text(TEXT)
    project = open_document(path)
    assert project.landmarks == {"sellion": 3, "cheek": SurfacePoint((0, 1, 8), (0.5, 0.25, 0.25))}
    save_document(project, path)
    assert path.read_text() == TEXT
    project = landmarks.place_landmark(project, "pronasale", SurfacePoint((1, 2, 9), (0.2, 0.2, 0.6)))
    project = shapes.group_shape(landmarks.remove_landmark(project, "sellion"), "lift", "upper face")
    project = shapes.keep_shape(shapes.mark_shape(project, "drop", True), "kept", np.ones((N, 3)))
    save_document(project, path)
    text = path.read_text()
    for comment in ("# the tide clock", "# said of it: nothing bad", "# as shown"):
        assert comment in text
    again = open_document(path)
    assert (again.landmarks, again.shapes, again.recipes) == (project.landmarks, project.shapes, project.recipes)
    before = parse_document(b'moue = 1\nhead = "library"\n[shapes.drop]\nhinge = "off"\n', path)
    assert before.landmarks == {} and before.shapes == {"drop": {"hinge": "off"}}


@pytest.mark.parametrize(
    "said",
    [
        "[shapes.a]\nlabel = 3", "[shapes.a]\nmarked = 1", "[shapes.a]\ndelta = ['x']", "[shapes.a]\nlabl = 'x'",
        "[shapes.'a/b']\ndelta = 'shapes/a.npy'", "[landmarks.a]\nvertex = -1", "[landmarks.a]\nvertex = true",
        "[landmarks.a]\nvertex = 1\nbary = [1, 0, 0]", "[landmarks.a]\ntriangle = [1, 2]\nbary = [1, 0, 0]",
        "[landmarks.a]\ntriangle = [1, 2, 3]\nbary = [1, 1, 0]", "[landmarks.a]\ntriangle = [1, 2, 3]\nbary = [nan, 1]",
        "[landmarks.a]\ntriangle = [1, 2, 3]\nbary = [nan, 1, 0]",
        "[landmarks.a]", "[landmarks]\na = 3",
    ],
)  # fmt: skip
def test_what_a_document_may_not_say(said: str) -> None:
    with pytest.raises(MoueError, match=r"^x\.toml: "):
        parse_document(f'moue = 1\nhead = "library"\n{said}\n'.encode(), Path("x.toml"))


def npy(values: np.ndarray, **more: bool) -> bytes:
    held = io.BytesIO()
    np.save(held, values, **more)
    return held.getvalue()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (npy(np.array([[{"a": 1}] * 3], dtype=object), allow_pickle=True), "pickled"),
        (npy(np.zeros(9)), "three numbers a vertex"),
        (npy(np.full((N, 3), np.inf)), "not a number"),
        (npy(np.array([["a"] * 3] * N)), "three numbers a vertex"),
        (b"\x93NUMPY\x01\x00", "is not an array"),
        (npy(np.zeros((N, 3)))[:-9], "smaller than its header says"),
    ],
)
def test_a_stored_shape_is_read_with_suspicion(tmp_path: Path, data: bytes, words: str) -> None:
    text = 'moue = 1\nhead = "library"\n[shapes.kept]\ndelta = "shapes/kept.npy"\n'
    with zipfile.ZipFile(tmp_path / "x.moue", "w") as archive:
        archive.writestr("document.toml", text)
        archive.writestr("shapes/kept.npy", data)
    with pytest.raises(MoueError, match=words):
        open_document(tmp_path / "x.moue")
    (tmp_path / "shapes").mkdir()
    (tmp_path / "shapes/kept.npy").write_bytes(data)
    (tmp_path / "document.toml").write_text(text)
    with pytest.raises(MoueError, match=words):
        EvaluatedDocument(open_document(tmp_path / "document.toml"), HEAD)


def test_landmarks_that_cannot_be_placed() -> None:
    crooked = SurfacePoint((0, 1, 2), (1.0, 1.0, 0.0))
    for name, place in (("", 3), (" a", 3), ("a", (1.0, 2.0, 3.0)), ("a", -1), ("a", crooked)):
        with pytest.raises(MoueError):
            landmarks.place_landmark(PROJECT, name, place)
    with pytest.raises(MoueError, match="landmark of the document"):
        landmarks.remove_landmark(PROJECT, "sellion")
    placed = landmarks.place_landmark(PROJECT, "sellion", 5)
    assert landmarks.place_landmark(placed, "sellion", 5) is placed
    assert (
        EvaluatedDocument(placed, HEAD).head.landmarks.position("sellion", HEAD.neutral).tolist()
        == HEAD.neutral[5].tolist()
    )
