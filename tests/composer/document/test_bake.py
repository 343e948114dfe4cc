"""From two OBJ targets to a baked one, read and evaluated without Moue's own readers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.bake import bake
from composer.document.evaluated import EvaluatedDocument
from composer.document.read import read_document
from composer.errors import MoueError

FACES = "vt 0 0\nvt 1 0\nvt 1 1\nvt 0 1\ng left\nf 1/1 2/2 5/3 4/4\ng right\nf 2/1 3/2 6/3 5/4\n"
POINTS = np.array([[0, 0, 0], [100, 0, 0], [200, 0, 0], [0, 200, 0], [100, 200, 0], [200, 200, 0]], dtype=float)
SMILE = np.array([[0, 3, 1], [0, 2, 0.5], [0, 1, 0], [0, 0, 2], [0, 0, 0], [1.25, 0, 0]], dtype=float)
DOCUMENT = """moue = 1
unit = "mm"
head = "library"
[regions.chin]
from = "file"
file = "chin.npy"
[recipes.half]
cells = [ { region = "chin", shape = "smile", weight = 0.5 }, { region = "all", shape = "smile", weight = 0.25 } ]
[recipes.nothing]
"""


def obj(points: np.ndarray) -> bytes:
    rows = "".join(f"v  {x:.2f} {y:.2f} {z:.2f} # kept\r\n" for x, y, z in points)
    return ("# the tide clock\r\n" + rows + FACES).encode()


def positions(path: Path) -> np.ndarray:
    lines = path.read_text().splitlines()
    return np.array([[float(n) for n in line.split()[1:4]] for line in lines if line.startswith("v ")])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "library").mkdir()
    (tmp_path / "library/neutral.obj").write_bytes(obj(POINTS))
    (tmp_path / "library/smile.obj").write_bytes(obj(POINTS + SMILE))
    np.save(tmp_path / "chin.npy", np.array([1, 0.5, 0, 0, 0, 0.25]))
    (tmp_path / "document.toml").write_text(DOCUMENT)
    return tmp_path


def run(folder: Path, **more: object) -> list[Path]:
    project = read_document(folder / "document.toml")
    return bake(EvaluatedDocument.open(project), folder / "baked", project.recipes, **more)  # type: ignore[arg-type]


def test_a_baked_pose_is_the_formula(folder: Path) -> None:
    run(folder)
    mask = np.array([1, 0.5, 0, 0, 0, 0.25])
    expected = POINTS + (0.25 + 0.5 * mask)[:, None] * SMILE
    np.testing.assert_allclose(positions(folder / "baked/half.obj"), expected, atol=3e-5)


def test_a_recipe_without_cells_is_the_neutral_byte_for_byte(folder: Path) -> None:
    run(folder)
    assert (folder / "baked/nothing.obj").read_bytes() == (folder / "library/neutral.obj").read_bytes()
    assert (folder / "baked/neutral.obj").read_bytes() == (folder / "library/neutral.obj").read_bytes()


def test_a_vertex_that_stays_keeps_its_line_and_the_rest_its_text(folder: Path) -> None:
    run(folder)
    old = (folder / "library/neutral.obj").read_bytes().split(b"\n")
    new = (folder / "baked/half.obj").read_bytes().split(b"\n")
    changed = [i for i, (a, b) in enumerate(zip(old, new, strict=True)) if a != b]
    assert changed == [1, 2, 3, 4, 6]


def test_a_bake_can_be_made_again_but_not_over_a_sculpted_file(folder: Path) -> None:
    run(folder)
    run(folder)
    sculpted = folder / "baked/half.obj"
    sculpted.write_bytes(obj(POINTS * 1.01))
    held = sculpted.read_bytes()
    with pytest.raises(MoueError, match="has been changed since the last bake"):
        run(folder)
    assert sculpted.read_bytes() == held
    run(folder, over=["half.obj"])
    assert sculpted.read_bytes() != held


def test_a_bake_never_writes_into_the_library(folder: Path) -> None:
    project = read_document(folder / "document.toml")
    with pytest.raises(MoueError, match="holds the head's own files"):
        bake(EvaluatedDocument.open(project), folder / "library", project.recipes)


def test_in_another_unit_everything_is_scaled(folder: Path) -> None:
    run(folder, unit="cm")
    np.testing.assert_allclose(positions(folder / "baked/neutral.obj"), POINTS / 10, atol=1e-6)


def test_ply_is_refused_or_written_never_half(folder: Path) -> None:
    with pytest.raises(MoueError):
        run(folder, suffix=".xyz")
    assert not (folder / "baked").exists()
