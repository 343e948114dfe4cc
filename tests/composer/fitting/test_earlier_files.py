"""Earlier heads from files: units, folders, and one line for each file that cannot be used."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.errors import MoueError
from composer.fitting.prior.earlier_files import read_earlier
from composer.geometry.polygons import Polygons
from composer.head.head import Head

CORNERS = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
LIBRARY = Head("library", Polygons.from_faces([[0, 1, 2, 3]], 4), 10.0 * CORNERS, unit="cm")


def write(path: Path, size: float = 1.0, faces: str = "f 1 2 3 4", corners: np.ndarray = CORNERS) -> Path:
    path.write_text("".join(f"v {x} {y} {z}\n" for x, y, z in size * corners) + faces + "\n")
    return path


def test_files_are_in_the_library_s_unit_unless_one_is_given(tmp_path: Path) -> None:
    file = write(tmp_path / "a.obj", 2.0)
    np.testing.assert_allclose(read_earlier(LIBRARY, [file])[0], 20.0 * CORNERS)
    np.testing.assert_allclose(read_earlier(LIBRARY, [file], "mm")[0], 2.0 * CORNERS)


def test_a_folder_is_read_in_the_order_of_its_names(tmp_path: Path) -> None:
    for name, size in (("b.obj", 3.0), ("a.obj", 2.0)):
        write(tmp_path / name, size)
    (tmp_path / "notes.txt").write_text("not a mesh")
    found = read_earlier(LIBRARY, [tmp_path, tmp_path / "b.obj"], "mm")
    assert [float(one.max()) for one in found] == [2.0, 3.0, 3.0]


def test_a_file_that_cannot_be_used_is_named(tmp_path: Path) -> None:
    fewer = write(tmp_path / "fewer.obj", faces="f 1 2 3", corners=CORNERS[:3])
    other = write(tmp_path / "other.obj", faces="f 1 2 3\nf 1 3 4")
    point = write(tmp_path / "point.obj", 0.0)
    for file, words in ((fewer, "3 vertices"), (other, "other polygons"), (point, "one place")):
        with pytest.raises(MoueError, match=words) as told:
            read_earlier(LIBRARY, [file])
        assert Path(str(told.value.where)) == file
    empty = tmp_path / "empty"
    empty.mkdir()
    for missing, words in ((empty, "no meshes"), (tmp_path / "nowhere.obj", "nowhere.obj")):
        with pytest.raises(MoueError, match=words):
            read_earlier(LIBRARY, [missing])
