"""Documents on disk: what is saved is what is read, comments stay, and a bad zip is refused."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np
import pytest

from composer.document.history import History
from composer.document.mask_file import mask_bytes
from composer.document.store import open_document, save_document
from composer.edits.cells import remove_cell, set_cell
from composer.edits.recipes import add_recipe, delete_recipe, rename_recipe
from composer.errors import MoueError
from composer.mixing.recipe import Cell, Recipe, Row

TEXT = """# the lamp room
moue = 1
head = "keeper"   # beside this file
[regions.brow]    # painted on a wet day
from = "file"
file = "masks/brow.npy"
[recipes.doubt]   # the first take
strength = 0.5
rows = { brow = { kind = "replace", amount = 0.7 } }
cells = [ { region = "brow", shape = "brow_up", weight = 1.0 } ]  # one cell
[recipes.call]    # the second
cells = []
"""


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    (tmp_path / "masks").mkdir()
    (tmp_path / "masks/brow.npy").write_bytes(mask_bytes(np.linspace(0, 1, 5)))
    (tmp_path / "document.toml").write_text(TEXT)
    return tmp_path / "document.toml"


def test_saving_what_did_not_change_keeps_every_byte(bare: Path) -> None:
    save_document(open_document(bare), bare)
    assert bare.read_text() == TEXT


def test_a_change_keeps_the_comments_elsewhere(bare: Path) -> None:
    project = set_cell(open_document(bare), "call", Cell("all", "jaw_drop", 0.25, True))
    save_document(project, bare)
    text = bare.read_text()
    for comment in (
        "# the lamp room",
        "# beside this file",
        "# painted on a wet day",
        "# the first take",
        "# one cell",
    ):
        assert comment in text
    again = open_document(bare)
    assert again.recipe("call").cells == (Cell("all", "jaw_drop", 0.25, True),)
    assert again.recipe("doubt") == project.recipe("doubt")


def test_a_moue_file_gives_back_masks_and_recipes_and_the_same_bytes(bare: Path, tmp_path: Path) -> None:
    mask = np.linspace(0, 1, 5, dtype=np.float32)
    first, second = tmp_path / "a.moue", tmp_path / "b.moue"
    project = open_document(bare)
    save_document(project, first, {"masks/brow.npy": mask})
    save_document(project, second, {"masks/brow.npy": mask})
    assert first.read_bytes() == second.read_bytes()
    again = open_document(first)
    np.testing.assert_array_equal(again.stored["masks/brow.npy"], mask)
    assert again.recipes == project.recipes
    assert again.regions == project.regions


def test_a_save_that_fails_leaves_the_old_file(bare: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    held = bare.read_bytes()
    project = delete_recipe(open_document(bare), "call")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(MoueError, match="No space left"):
        save_document(project, bare)
    assert bare.read_bytes() == held
    assert sorted(p.name for p in bare.parent.iterdir()) == ["document.toml", "masks"]


@pytest.mark.parametrize("name", ["../evil.npy", "/evil.npy", "masks/../../evil.npy", "c:\\evil.npy"])
def test_a_zip_with_paths_outside_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / "bad.moue"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("document.toml", TEXT)
        archive.writestr(name, b"x")
    with pytest.raises(MoueError, match="points outside"):
        open_document(path)


def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    path = tmp_path / "bomb.moue"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("document.toml", b" " * (17 << 20))
    with pytest.raises(MoueError, match="more than any document has"):
        open_document(path)


def test_a_pickled_mask_is_refused(tmp_path: Path) -> None:
    import io

    held = io.BytesIO()
    np.save(held, np.array([{"a": 1}], dtype=object), allow_pickle=True)
    path = tmp_path / "pickled.moue"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("document.toml", TEXT)
        archive.writestr("masks/brow.npy", held.getvalue())
    with pytest.raises(MoueError, match="the mask is pickled, which Moue does not open"):
        open_document(path)


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"not a zip at all" * 9])
def test_what_is_no_zip_is_refused(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "x.moue").write_bytes(data)
    with pytest.raises(MoueError):
        open_document(tmp_path / "x.moue")


def test_undo_after_an_edit_is_identity(bare: Path) -> None:
    project = open_document(bare)
    history = History(project)
    history.apply(lambda p: set_cell(p, "doubt", Cell("all", "smile", 0.5)))
    history.apply(lambda p: rename_recipe(p, "call", "shout"))
    changed = history.project
    assert history.undo().recipe("call")
    assert history.undo() is project
    assert history.undo() is project
    history.redo()
    assert history.redo() is changed
    assert not history.can_redo


def test_a_drag_is_one_step_and_an_abandoned_one_none(bare: Path) -> None:
    project = open_document(bare)
    history = History(project)
    for weight in (0.1, 0.2, 0.3):
        history.preview(lambda p, weight=weight: set_cell(p, "doubt", Cell("all", "smile", weight)))
    assert history.committed is project
    assert history.commit().recipe("doubt").cells[-1].weight == 0.3
    assert history.undo() is project
    history.preview(lambda p: delete_recipe(p, "doubt"))
    assert history.abort() is project


def test_an_error_inside_an_edit_leaves_the_old_state_whole(bare: Path) -> None:
    history = History(open_document(bare))
    before = history.project
    with pytest.raises(MoueError):
        history.apply(lambda p: set_cell(p, "doubt", Cell("all", "smile", 9.0)))
    assert history.project is before
    assert not history.can_undo


def test_history_is_capped_by_bytes_and_shared_masks_count_once(bare: Path) -> None:
    history = History(open_document(bare).with_(text=""), most_bytes=100_000)
    for i in range(20):
        masks = {"masks/brow.npy": np.full(5_000, i / 20)}  # 40,000 bytes each
        history.apply(lambda p, masks=masks: p.with_(stored=masks))
    steps = 0
    while history.can_undo:
        history.undo()
        steps += 1
    assert steps == 1


def test_adding_twice_or_under_a_reserved_name_is_refused(bare: Path) -> None:
    project = add_recipe(open_document(bare), Recipe("new", (Cell("all", "smile", 1.0),), {"brow": Row("replace")}))
    assert remove_cell(project, "new", ("all", "smile", False)).recipe("new").cells == ()
    for name in ("new", "neutral", "a/b", "", "NEW", " a", "con", "a\nb", ".a", "x" * 200):
        with pytest.raises(MoueError):
            add_recipe(project, Recipe(name))
