"""Targets of one library whose text behind the vertices is long: each file is whole, also where none can be kept.

The lines are read in plain Python by the format's own rules (Wavefront, "Object Files (.obj)", Advanced Visualizer
manual, appendix B1: indices begin with 1, `f v/vt` names a vertex and its texture coordinates).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import IO

import numpy as np
import pytest

from composer.formats import obj_kept
from composer.formats.mesh import Mesh
from composer.formats.obj import write
from composer.head.head import TextureCoordinates
from tests.small_heads import grid


def torn() -> Mesh:
    """A grid with texture coordinates and two groups."""
    polygons = grid(9, 7)
    points = np.random.default_rng(3).normal(size=(polygons.n_vertices, 3))
    uv = TextureCoordinates(np.random.default_rng(4).random((len(polygons.indices), 2)),
                            np.arange(len(polygons.indices), dtype=np.int32)[::-1].copy())  # fmt: skip
    halves = np.split(np.arange(polygons.n_faces, dtype=np.int32), [20])
    return Mesh(polygons, points, uv, groups=dict(zip(("one", "other"), halves, strict=True)))


def assert_holds(path: Path, mesh: Mesh) -> None:
    lines = [line.split() for line in path.read_text().splitlines()]
    assert mesh.uv is not None
    faces = [[tuple(map(int, corner.split("/"))) for corner in line[1:]] for line in lines if line[0] == "f"]
    both = np.stack([mesh.polygons.indices, mesh.uv.indices], axis=1).reshape(-1, 4, 2) + 1
    np.testing.assert_array_equal(np.array(faces), both)
    for key, numbers in (("v", mesh.positions), ("vt", mesh.uv.uv)):
        told = np.array([[float(number) for number in line[1:]] for line in lines if line[0] == key])
        np.testing.assert_allclose(told, numbers, rtol=0, atol=1e-6)
    assert [line[1] for line in lines if line[0] == "g"] == list(mesh.groups)


@pytest.mark.parametrize("room", [True, False])
def test_every_target_has_the_whole_text(room: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[IO[bytes]] = []
    aside = obj_kept.file_aside

    def watched() -> IO[bytes]:
        if not room:
            raise OSError(28, "no room")
        made.append(aside())
        return made[-1]

    monkeypatch.setattr(obj_kept, "SHORT", 0)
    monkeypatch.setattr(obj_kept, "PIECE", 4096 * 16)  # a multiple of the pages of every system that the tests know
    monkeypatch.setattr(obj_kept, "file_aside", watched)
    first = torn()
    second = replace(first, positions=first.positions + 1.0)
    renamed = replace(first, groups={f"{name}_b": faces for name, faces in first.groups.items()})
    for number, mesh in enumerate((first, second, first, renamed, second)):
        write(tmp_path / f"{number}.obj", mesh)
        assert_holds(tmp_path / f"{number}.obj", mesh)
    assert len(made) == (3 if room else 0)  # for the first, for other names, and for the first names again
    del first, second, renamed, mesh
    assert all(file.closed for file in made)


def test_a_text_that_finds_no_room_on_the_way_is_not_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Full:
        """A file on a disk that is full after a few bytes (POSIX.1-2017, write: ENOSPC, or a part is written)."""

        held = 100

        def write(self, text: bytes) -> int:
            Full.held -= len(text)
            if Full.held < 0:
                raise OSError(28, "no room")
            return len(text)

        def close(self) -> None:
            pass

    monkeypatch.setattr(obj_kept, "SHORT", 0)
    monkeypatch.setattr(obj_kept, "file_aside", Full)
    mesh = torn()
    for number in range(2):
        write(tmp_path / f"{number}.obj", mesh)
        assert_holds(tmp_path / f"{number}.obj", mesh)
