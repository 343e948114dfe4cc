"""Whatever is edited and saved reads the same again, in its order, with its comments, wherever it is saved to."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from composer.document.autosave import says_the_same
from composer.document.evaluated import EvaluatedDocument
from composer.document.mask_file import mask_bytes
from composer.document.project import Project, Region
from composer.document.store import open_document, save_document
from composer.edits import recipes, regions, rows
from composer.errors import MoueError
from composer.head.head import TextureCoordinates
from composer.head.references import outside_allowed
from composer.mixing.recipe import Recipe, Row
from tests.composer.document.small_document import POLYGONS, N, painted, small_head, small_project
from tests.composer.document.small_edits import EDITS

HEAD = small_head()
TEXT = """# the tide clock
moue = 1
head = "library"
[regions.brow]   # painted in the fog
from = "file"
file = "masks/brow.npy"
locked = true  # held
[regions.chin]   # at the quay
from = "vertices"
vertices = [1, 2]
[recipes.doubt]  # first
cells = [ { region = "brow", shape = "lift", weight = 1.0 } ]  # one
[recipes.call]   # second
rows = { brow = { kind = "replace" } }
"""


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    (tmp_path / "masks").mkdir()
    (tmp_path / "masks/brow.npy").write_bytes(mask_bytes(painted(2)))
    (tmp_path / "document.toml").write_text(TEXT)
    return tmp_path / "document.toml"


@given(st.lists(st.sampled_from(sorted(EDITS)), min_size=1, max_size=8), st.sampled_from(["a.moue", "document.toml"]))
@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_edits_are_read_as_they_were_saved(tmp_path: Path, names: list[str], file: str) -> None:
    path = tmp_path / file
    project = save_document(small_project(path), path)
    evaluated = EvaluatedDocument(project, HEAD)
    for name in names:
        try:
            evaluated = evaluated.again(EDITS[name](evaluated.project, evaluated))
        except MoueError:
            continue
        evaluated = evaluated.again(save_document(evaluated.project, path))
        read = open_document(path)
        assert says_the_same(read, evaluated.project)
        assert [r.name for r in read.recipes] == [r.name for r in evaluated.project.recipes]
        assert list(read.shapes) == list(evaluated.project.shapes)


def region_first(project: Project, name: str) -> Project:
    first = project.region(name)
    return project.with_(regions=(first, *(region for region in project.regions if region is not first)))


def test_order_and_comments_stay(bare: Path) -> None:
    project = recipes.move_recipe(open_document(bare), "call", 0)
    project = recipes.rename_recipe(region_first(project, "chin"), "doubt", "dread")
    save_document(regions.set_locked(project, "brow", False), bare)
    read, text = open_document(bare), bare.read_text()
    assert [r.name for r in read.recipes] == ["call", "dread"] and [r.name for r in read.regions] == ["chin", "brow"]
    for comment in ("# the tide clock", "# painted in the fog", "# at the quay", "# first", "# one", "# second"):
        assert comment in text


def test_tables_that_stand_apart_are_still_saved_right(bare: Path) -> None:
    apart = TEXT + "[regions.jaw]\nfrom = 'vertices'\nvertices = [3]\n[recipes.wait]\ncells = []\n"
    bare.write_text(apart)
    project = open_document(bare)
    save_document(project, bare)
    assert bare.read_text() == apart
    moved = region_first(recipes.move_recipe(project, "wait", 0), "jaw")
    save_document(regions.rename_region(moved, "chin", "kinn"), bare)
    read = open_document(bare)
    assert [r.name for r in read.regions] == ["jaw", "brow", "kinn"]
    assert [r.name for r in read.recipes] == ["wait", "doubt", "call"]


def test_a_row_and_a_note_are_added_and_taken_away(bare: Path) -> None:
    project = rows.set_row(open_document(bare), "call", "brow", Row("add", 0.25))
    project = save_document(recipes.set_note(project, "call", 'a "note"\nof two lines'), bare)
    assert open_document(bare).recipes == project.recipes
    project = rows.set_row(recipes.set_note(project, "call", ""), "call", "brow", Row())
    save_document(project, bare)
    assert open_document(bare).recipe("call") == Recipe("call")


def test_a_bare_document_takes_its_masks_along(bare: Path, tmp_path: Path) -> None:
    (tmp_path / "away").mkdir()
    for target in (tmp_path / "away/clock.moue", tmp_path / "away/document.toml"):
        made = save_document(open_document(bare), target)
        assert open_document(target).head_path.resolve() == (tmp_path / "library").resolve()
        np.testing.assert_array_equal(open_document(target).stored["masks/brow.npy"], painted(2))
        assert made.path == target
    (tmp_path / "masks/brow.npy").unlink()
    np.testing.assert_array_equal(open_document(tmp_path / "away/clock.moue").stored["masks/brow.npy"], painted(2))


@pytest.mark.parametrize("place", ["../outside/brow.npy", "masks/../masks/brow.npy", "/masks/brow.npy"])
def test_a_mask_from_outside_gets_a_place_inside(bare: Path, tmp_path: Path, place: str) -> None:
    folder = tmp_path / "inner"
    folder.mkdir()
    place = str(tmp_path) + place if place.startswith("/") else place
    file = folder / place
    (folder / "masks").mkdir()
    file.parent.mkdir(exist_ok=True)
    file.write_bytes(mask_bytes(painted(6)))
    (folder / "document.toml").write_text(TEXT.replace("masks/brow.npy", place))
    with outside_allowed():  # as a person says who trusts the document
        project = open_document(folder / "document.toml")
    save_document(project, folder / "clock.moue")
    read = open_document(folder / "clock.moue")
    np.testing.assert_array_equal(EvaluatedDocument(read, HEAD).raw["brow"], painted(6))
    assert list(read.stored) == ["masks/brow.npy"] and says_the_same(read, project)


def test_a_picture_is_named_from_where_the_document_goes(bare: Path, tmp_path: Path) -> None:
    Image.fromarray(np.full((8, 8), 200, dtype=np.uint8)).save(tmp_path / "chin.png")
    project = open_document(bare)
    drawn = regions.add_region(project, Region("drawn", {"from": "image", "file": "chin.png"}))
    uv = np.random.default_rng(1).random((N, 2))
    head = HEAD.with_(uv=TextureCoordinates(uv, POLYGONS.indices.astype(np.int32)))
    (tmp_path / "away").mkdir()
    save_document(drawn, tmp_path / "away/clock.moue")
    read = open_document(tmp_path / "away/clock.moue")
    assert read.region("drawn").source["file"] == "../chin.png"
    np.testing.assert_allclose(EvaluatedDocument(read, head).raw["drawn"], 200 / 255, atol=1e-6)


def test_a_mask_on_disk_that_did_not_change_is_left_as_it_is(bare: Path) -> None:
    """A file of float64, as numpy writes by itself, is not rounded by a save that has nothing to say to it."""
    file = bare.parent / "masks/brow.npy"
    np.save(file, np.linspace(0, 1, N))
    held = file.read_bytes()
    project = save_document(regions.set_locked(open_document(bare), "brow", False), bare)
    assert file.read_bytes() == held
    save_document(regions.set_mask(project, "brow", painted(3)), bare)
    np.testing.assert_array_equal(open_document(bare).stored["masks/brow_2.npy"], painted(3))
    assert [each.name for each in file.parent.iterdir()] == ["brow_2.npy"]


def test_the_mask_of_another_document_in_the_folder_stays(bare: Path) -> None:
    other = bare.with_name("other.toml")
    other.write_text(bare.read_text())
    project = save_document(regions.set_mask(open_document(bare), "brow", painted(3)), bare)
    np.testing.assert_array_equal(open_document(other).stored["masks/brow.npy"], painted(2))
    save_document(regions.set_mask(project, "brow", painted(2)), bare)
    assert [each.name for each in (bare.parent / "masks").iterdir()] == ["brow.npy"]


def test_undo_after_a_save_gives_the_mask_of_before(bare: Path) -> None:
    first = open_document(bare)
    save_document(regions.set_mask(first, "brow", painted(3)), bare)
    np.testing.assert_array_equal(EvaluatedDocument(first, HEAD).raw["brow"], painted(2))


def test_a_project_that_no_text_says_is_refused_and_the_old_file_stays(bare: Path) -> None:
    project: Project = open_document(bare)
    held = bare.read_bytes()
    wrong = project.with_(recipes=(*project.recipes, Recipe("a/b")))
    with pytest.raises(MoueError, match="a/b"):
        save_document(wrong, bare)
    assert bare.read_bytes() == held
