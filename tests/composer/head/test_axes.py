"""Heads that stand otherwise in their files: turned upright when read, written back as they came."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.document.bake import bake
from composer.document.carried import carry_document
from composer.document.evaluated import EvaluatedDocument
from composer.document.read import parse_document
from composer.document.text import document_text
from composer.edits.lay_regions import laid_regions
from composer.edits.sculpt import read_sculpt
from composer.errors import MoueError
from composer.formats.library import open_library
from composer.formats.library_file import Settled, read_settled, write_settled
from composer.formats.registry import read_mesh
from composer.head.axes import FileAxes
from composer.head.landmarks import Landmarks
from composer.head.turning import marks_turned, standing_as, turned
from composer.mixing.recipe import ALL, Cell, Recipe
from tests.awkward_heads import awkward, write
from tests.awkward_surgery import in_axes

Z_UP = FileAxes((0.0, 0.0, 1.0), (0.0, -1.0, 0.0))
QUARTERS = [rotation.as_matrix().round() + 0.0 for rotation in Rotation.create_group("O")]


@given(st.sampled_from(QUARTERS), st.integers(0, 2**31), st.sampled_from([np.float32, np.float64]))
def test_quarter_turns_are_undone_to_the_bit(rows: np.ndarray, seed: int, kind: type) -> None:
    axes = FileAxes.of_rows(rows)
    np.testing.assert_array_equal(axes.rows, rows)
    points = np.random.default_rng(seed).normal(0, 100, (20, 3)).astype(kind)
    back = axes.to_files(axes.from_files(points))
    assert back.dtype == kind and np.array_equal(back, points)
    assert axes.along_axes and FileAxes.read(axes.written["up"], axes.written["ahead"]) == axes


@given(st.integers(0, 2**31))
def test_any_rotation_keeps_lengths_and_hands(seed: int) -> None:
    rows = Rotation.random(random_state=seed).as_matrix()
    axes = FileAxes.of_rows(rows)
    np.testing.assert_allclose(axes.rows, rows, atol=1e-8)
    points = np.random.default_rng(seed).normal(0, 100, (20, 3))
    np.testing.assert_allclose(axes.to_files(axes.from_files(points)), points, atol=1e-6)
    np.testing.assert_allclose(axes.from_files(points)[:, 1], points @ rows[1], atol=1e-6)  # up is up
    read = FileAxes.read(axes.written["up"], axes.written["ahead"])
    assert read is not None and np.allclose(read.rows, axes.rows, atol=1e-8)


@pytest.mark.parametrize(
    ("up", "ahead", "words"),
    [("z", None, "only one"), ("z", "-z", "same axis"), ("w", "x", "no direction"), ([0, 0, 0], "x", "no direction"),
     ([0, 1], "x", "no direction"), (True, "x", "no direction"), ([float("nan"), 0, 1], "x", "no direction")],
)  # fmt: skip
def test_what_is_no_pair_of_directions_is_told(up: object, ahead: object, words: str) -> None:
    with pytest.raises(MoueError, match=words):
        FileAxes.read(up, ahead, Path("library.toml"))


@pytest.mark.parametrize("trait", ["z_up", "z_up_looks_along_x", "looks_back"])
def test_a_library_opens_upright_and_bakes_back_as_it_came(trait: str, tmp_path: Path) -> None:
    plain, a = awkward(), awkward(trait)
    write(a, tmp_path / "library")
    head = open_library(tmp_path / "library")
    np.testing.assert_allclose(head.neutral, plain.positions, atol=1e-4)
    np.testing.assert_allclose(head.shape("au27").delta, plain.shape("au27").delta, atol=1e-3)
    np.testing.assert_allclose(head.axes.rows, a.axes, atol=1e-12)
    assert any("turns the head upright" in note for note in head.notes)
    project, _ = laid_regions(head, tmp_path / "document.toml", "landmarks")
    text = document_text(project, tmp_path)
    assert 'ahead = "' in text and parse_document(text.encode(), project.path).axes == head.axes
    evaluated = EvaluatedDocument(project, head)
    bake(evaluated, tmp_path / "baked", [Recipe("open", (Cell(ALL, "au27", 1.0),))])
    own = read_mesh(tmp_path / "library" / "au27.obj").positions
    np.testing.assert_allclose(read_mesh(tmp_path / "baked" / "open.obj").positions, own, atol=2e-4)
    neutral = f"{head.neutral_name}.obj"
    assert (tmp_path / "baked" / neutral).read_bytes() == (tmp_path / "library" / neutral).read_bytes()
    again = EvaluatedDocument.open(parse_document(text.encode(), project.path))
    np.testing.assert_array_equal(again.head.neutral, head.neutral)
    sculpt = read_sculpt(head, tmp_path / "baked" / "open.obj")
    np.testing.assert_allclose(sculpt.positions, head.target("au27"), atol=2e-4)


def test_one_file_of_a_format_with_y_up_stands_upright_and_comes_back(tmp_path: Path) -> None:
    write(awkward("three_shapes", "z_up"), tmp_path / "library")
    head = open_library(tmp_path / "library")
    project, _ = laid_regions(head, tmp_path / "document.toml", "landmarks")
    recipe = Recipe("open", (Cell(ALL, "jaw", 1.0),))
    for suffix in (".glb", ".usda"):
        bake(EvaluatedDocument(project, head), tmp_path / suffix[1:], [recipe], suffix=suffix)
        (file,) = [each for each in (tmp_path / suffix[1:]).iterdir() if each.suffix == suffix]
        mesh = read_mesh(file).in_unit("mm")
        np.testing.assert_allclose(mesh.positions, head.neutral, atol=1e-3)
        sculpt = read_sculpt(head, file)
        np.testing.assert_allclose(sculpt.positions, head.target("jaw"), atol=1e-3)


def test_what_is_settled_beside_the_files_overrules_what_is_found(tmp_path: Path) -> None:
    a = awkward("three_shapes", "z_up")
    write(a, tmp_path / "library")
    write_settled(tmp_path / "library", Settled("neutral", "mm", FileAxes()))
    assert read_settled(tmp_path / "library").axes == FileAxes()
    np.testing.assert_allclose(open_library(tmp_path / "library").neutral, a.positions, atol=1e-4)
    write_settled(tmp_path / "library", Settled(None, None, Z_UP))
    assert read_settled(tmp_path / "library") == Settled(None, None, Z_UP)


def test_a_head_that_tells_nothing_stays_as_it_is(tmp_path: Path) -> None:
    a = awkward("z_up")
    write(a, tmp_path / "library")
    for file in (tmp_path / "library").glob("au*.obj"):
        file.unlink()
    still = open_library(tmp_path / "library")
    assert still.axes.as_they_are
    np.testing.assert_allclose(still.neutral, a.positions, atol=1e-4)


def test_a_head_askew_is_turned_by_its_sides_and_its_eyes(tmp_path: Path) -> None:
    write(awkward("askew"), tmp_path / "library")
    head = open_library(tmp_path / "library")
    off = np.degrees(np.arccos(np.clip((np.trace(head.axes.rows.T @ awkward("askew").axes) - 1) / 2, -1, 1)))
    assert off < 1.0 and not head.axes.along_axes


def test_a_carried_document_stands_as_the_new_head_does(tmp_path: Path) -> None:
    write(awkward("three_shapes"), tmp_path / "library")
    head = open_library(tmp_path / "library")
    project, _ = laid_regions(head, tmp_path / "document.toml", "landmarks")
    evaluated = EvaluatedDocument(project, head)
    other = in_axes(awkward("three_shapes"), Z_UP.rows)
    write(other, tmp_path / "other")
    fitted = open_library(tmp_path / "other" / "neutral.obj", recognise=False)
    carried = carry_document(evaluated, fitted, tmp_path / "carried", way="delta", contact=False)
    assert carried.axes == Z_UP
    new = EvaluatedDocument.open(carried)
    np.testing.assert_allclose(new.head.neutral, head.neutral, atol=1e-3)
    np.testing.assert_allclose(new.head.shape("jaw").delta, head.shape("jaw").delta, atol=1e-2)
    jaw = next((tmp_path / "carried").rglob("jaw.obj"))
    np.testing.assert_allclose(read_mesh(jaw).positions, other.positions + other.shape("jaw").delta, atol=1e-2)


def test_landmarks_that_are_positions_turn_along() -> None:
    marks = Landmarks({"pronasale": (1.0, -3.0, 2.0), "stomion": 4}, {"line": [(0.0, -1.0, 0.0), 3], "row": [1, 2]})
    found = marks_turned(marks, Z_UP)
    assert found.points == {"pronasale": (1.0, 2.0, 3.0), "stomion": 4}
    assert list(found.curves["line"]) == [(0.0, 0.0, 1.0), 3] and list(found.curves["row"]) == [1, 2]


def test_standing_as_another_turns_by_quarters_alone() -> None:
    head = awkward("three_shapes").head
    moved = head.with_(neutral=head.neutral @ Rotation.from_euler("y", 8, degrees=True).as_matrix(), shapes=())
    assert standing_as(head, moved) == (moved, {})
    lying = moved.with_(neutral=moved.neutral @ Z_UP.rows)
    stood, finer = standing_as(head, lying, {1: lying.neutral})
    np.testing.assert_array_equal(finer[1], stood.neutral)
    assert stood.axes == Z_UP
    np.testing.assert_allclose(stood.neutral, moved.neutral, atol=1e-12)
    assert turned(stood, FileAxes()) is stood
