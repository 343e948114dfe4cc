"""What claims or holds far more than it should is refused in one line, before memory is taken for it.

The short form of `python -m tests.faults.bounds_campaign`, which measures the large files of the same kinds.
"""

from __future__ import annotations

import io
import struct
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from composer.document.store import open_document
from composer.errors import MoueError
from composer.formats.registry import read_mesh
from composer.formats.sculpt_mesh import read_sculpt_mesh
from composer.head.landmark_file import read_landmark_pairs
from composer.head.toml_text import parse_toml
from tests.faults import bounds_campaign

MOST_BYTES = 64 << 20


def refused(read: Callable[[Path], object], path: Path) -> str:
    """What is said of a file; it takes little memory."""
    tracemalloc.start()
    try:
        with pytest.raises(MoueError) as told:
            read(path)
        assert tracemalloc.get_traced_memory()[1] < MOST_BYTES + 2 * path.stat().st_size
    finally:
        tracemalloc.stop()
    assert "\n" not in str(told.value) and len(str(told.value)) <= 200
    return str(told.value)


@pytest.mark.parametrize("text", [
    ".".join(["a"] * 40_000) + " = 1", "x = 1\n[" + ".".join(["a"] * 40_000) + "]",
    "b = { " + " . ".join(["a"] * 5_000) + " = 1 }", "'a b'." * 3_000 + "c = 1",
])  # fmt: skip
def test_a_key_of_many_parts_is_refused(tmp_path: Path, text: str) -> None:
    for name, read in (("a.toml", open_document), ("marks.toml", read_landmark_pairs)):
        (tmp_path / name).write_text('moue = 1\nhead = "a"\n' + text + "\n")
        assert "key of more than 64 parts" in refused(read, tmp_path / name)


def test_dots_in_a_text_are_no_key() -> None:
    assert parse_toml("note = '" + "a." * 1000 + "'\na.b.'c.d' = 1")["a"] == {"b": {"c.d": 1}}


@pytest.mark.parametrize("claims", [1000, 2**31])
def test_an_entry_that_lies_about_its_size_is_not_unpacked(tmp_path: Path, claims: int) -> None:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("document.toml", 'moue = 1\nhead = "a"\n[regions.a]\nfrom = "file"\nfile = "masks/a.npy"\n')
        archive.writestr("masks/a.npy", bytes(MOST_BYTES * 3))
    data = bytearray(held.getvalue())
    struct.pack_into("<I", data, data.rfind(b"PK\x01\x02") + 24, claims)
    (tmp_path / "a.moue").write_bytes(data)
    refused(open_document, tmp_path / "a.moue")


def test_names_that_take_no_byte_are_counted(tmp_path: Path) -> None:
    bounds_campaign._npz_names(tmp_path / "a.npz")
    assert "'names' is not an array" in refused(read_mesh, tmp_path / "a.npz")


@pytest.mark.parametrize(("change", "read", "words"), [
    (bounds_campaign._nested, read_mesh, "50,001 nodes"), (bounds_campaign._nested, read_sculpt_mesh, "50,001 nodes"),
    (bounds_campaign._many_nodes, read_mesh, "100,000 nodes"), (bounds_campaign._shared, read_mesh, "twice"),
    (bounds_campaign._targets, read_mesh, "300,000 targets"),
])  # fmt: skip
def test_a_scene_of_too_many_things_is_refused(
    tmp_path: Path, change: Callable[[dict], object], read: Callable[[Path], object], words: str
) -> None:
    bounds_campaign._glb(tmp_path / "a.glb", change)
    assert words in refused(read, tmp_path / "a.glb")


def test_long_lines_are_read_up_to_a_bound(tmp_path: Path) -> None:
    angles = np.linspace(0, 2 * np.pi, 100_000, endpoint=False)
    text = "".join(f"v {x:.4f} {y:.4f} 0\n" for x, y in zip(np.cos(angles), np.sin(angles), strict=True))
    (tmp_path / "a.obj").write_text(text + "f " + " ".join(str(i + 1) for i in range(100_000)) + "\n")
    mesh = read_mesh(tmp_path / "a.obj")
    assert mesh.polygons.counts.tolist() == [100_000] and mesh.n_vertices == 100_000
    (tmp_path / "b.obj").write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf " + "1 2 3 " * (40 * 10**6 // 6) + "\n")
    with pytest.raises(MoueError, match=r"b\.obj:4: a line of 39 million characters"):
        read_mesh(tmp_path / "b.obj")


def test_a_text_stl_is_read_in_pieces_as_it_was_line_by_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Against Python's own float, number by number; pieces end where lines do, whatever their size."""
    from composer.formats import stl

    rng = np.random.default_rng(3)
    corners = rng.normal(size=(600, 3)) * 10.0 ** rng.integers(-3, 4, (600, 3))
    words = [" ".join(repr(float(v)) for v in row) for row in corners]
    text = "solid a\r\n" + "".join(
        f"facet normal 0 0 1\r\n outer loop\r\n  vertex {a}\r\n\tvertex  {b}\r\nvertex {c} \r\n endloop\r\nendfacet\r\n"
        for a, b, c in zip(words[::3], words[1::3], words[2::3], strict=True)
    )
    (tmp_path / "a.stl").write_bytes(text.encode() + b"endsolid")
    want = [[float(word) for word in row.split()] for row in words]
    for size in (64, 1000, 1 << 23):
        monkeypatch.setattr(stl, "CHUNK", size)
        mesh = read_mesh(tmp_path / "a.stl")
        np.testing.assert_array_equal(mesh.positions[mesh.polygons.indices], want)
    for wrong in ("vertex 1 2", "vertex 1 2 x", "vertex 1 2 3e"):
        (tmp_path / "b.stl").write_text(f"solid a\nfacet\n{wrong}\nvertex 1 2 3\nvertex 1 2 3 4\n")
        with pytest.raises(MoueError, match=r"b\.stl:3: a vertex that is not three numbers"):
            read_mesh(tmp_path / "b.stl")
