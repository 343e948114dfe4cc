"""Names from files that would be paths, or steer a terminal: no file outside the folder, nothing unseen printed."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.cli.main import main
from composer.document.store import open_document
from composer.errors import MoueError, visible
from composer.formats.library import open_library
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.head.head import Shape

ESCAPE = "\x1b[31mred\x1b]0;title\x07\u202e"
EVIL = ("../../evil", "/tmp/moue_evil_absolute", "C:\\evil", "a/b", "nul", "grin", "GRIN", ESCAPE, "tail.", "")


@pytest.fixture
def room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A library in one file whose shapes have such names, and a document of it, two folders down."""
    room = tmp_path / "one/two"
    room.mkdir(parents=True)
    polygons, points = cube_sphere(4)
    delta = (0.1 * points * (points[:, 1:2] > 0)).astype(np.float32)
    shapes = tuple(Shape(name, delta * (i + 1)) for i, name in enumerate(EVIL))
    write_mesh(room / "library.npz", Mesh(polygons, points * 100.0, shapes=shapes, unit="mm"))
    (room / "face.toml").write_text(
        "moue = 1\nhead = 'library.npz'\n[regions.brow]\nfrom = 'vertices'\nvertices = [0, 1, 2]\nramp_mm = 5.0\n"
    )
    monkeypatch.chdir(room)
    return room


def files_under(folder: Path) -> set[Path]:
    return {path for path in folder.rglob("*") if path.is_file()}


def run(words: list[str]) -> int:
    with pytest.raises(SystemExit) as ended:
        main(words)
    return int(ended.value.code or 0)


@pytest.mark.parametrize("by", ["sides", "regions"])
def test_split_writes_inside_its_folder_whatever_the_shapes_are_called(
    by: str, room: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    before = files_under(tmp_path)
    assert run(["split", "face.toml", "--to", "pieces", "--by", by, "--keep-empty"]) == 0
    new = files_under(tmp_path) - before
    assert new and all(path.parent == room / "pieces" for path in new)
    assert len(new) == 2 * len(EVIL) + 2  # and the neutral, and what the folder knows
    assert not Path("/tmp/moue_evil_absolute.left.obj").exists()
    said = capfd.readouterr()
    assert visible(said.out + said.err, keep="\n") == said.out + said.err
    head = open_library(room / "pieces")
    assert len(head.shapes) == 2 * len(EVIL)


def test_a_carried_library_whose_shapes_no_file_can_be_named_after_is_refused_before_the_work(
    room: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Its levels are files that are found by their names again, so that none may be called otherwise."""
    (room / "level1").mkdir()
    text = (room / "face.toml").read_text()
    (room / "face.toml").write_text(text.replace("[regions", "[levels]\n1 = 'level1'\n[regions", 1))
    before = files_under(tmp_path)
    assert run(["carry", "face.toml", "library.npz", "--to", "new"]) == 2
    assert "no file can be named after shape '../../evil'" in capfd.readouterr().err
    assert files_under(tmp_path) == before


def test_a_document_s_names_are_refused_where_no_file_can_be_named_after_them(room: Path) -> None:
    for table in ('regions."../up"', 'recipes."a/b"', 'recipes."\\u001b[31m"', "recipes.con", 'recipes."tail."'):
        (room / "bad.toml").write_text(f"moue = 1\nhead = 'library.npz'\n[{table}]\nfrom = 'vertices'\n")
        with pytest.raises(MoueError, match="may not be named") as caught:
            open_document(room / "bad.toml")
        assert str(caught.value).isprintable()


def test_nothing_unseen_reaches_the_terminal_or_a_report(room: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["inspect", "library.npz", "--json", "report.json"]) in (0, 1)
    said = capfd.readouterr()
    assert visible(said.out + said.err, keep="\n") == said.out + said.err
    assert visible(ESCAPE) in said.out
    page = (room / "report.json").read_text(encoding="utf-8")
    assert visible(page, keep="\n") == page
    assert ESCAPE in json.loads(page)["furthest_mm"]  # written out, and the same name when it is read
    (room / "e\x1b[2J.obj").write_text("v 0 0\n")
    with pytest.raises(MoueError) as caught:
        read_mesh(room / "e\x1b[2J.obj")
    assert "\x1b" not in str(caught.value) and "\\u001b[2J.obj" in str(caught.value)


def test_a_group_s_name_ends_no_line_of_a_text(tmp_path: Path) -> None:
    polygons, points = cube_sphere(2)
    faces = np.arange(3, dtype=np.int32)
    mesh = Mesh(polygons, points, groups={"lid\nv 9 9 9\x1b": faces}, material_files=("m\nv 1",))
    write_mesh(tmp_path / "a.obj", mesh)
    read = read_mesh(tmp_path / "a.obj")
    assert read.n_vertices == polygons.n_vertices
    assert "\x1b" not in (tmp_path / "a.obj").read_text()
