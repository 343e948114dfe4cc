"""Broken files of every format: one clear line that names the file, never another exception."""

from __future__ import annotations

import io
import json
import os
import struct
import tracemalloc
import zipfile
from pathlib import Path

import numpy as np
import pytest

from composer.errors import MoueError
from composer.formats.library import open_library
from composer.formats.mesh import Mesh
from composer.formats.registry import format_of, read_mesh, suffixes, write_mesh
from composer.head.head import Shape
from tests.small_heads import CUBE, CUBE_CORNERS, grid

SHAPES = (Shape("grin", np.ones((8, 3), np.float32)), Shape("blink", np.zeros((8, 3), np.float32)))


def refused(path: Path, *words: str) -> str:
    """The line that `path` is refused with: one line, at most 200 characters, the path first, `words` in it."""
    with pytest.raises(MoueError) as caught:
        read_mesh(path)
    line = str(caught.value)
    assert len(line) <= 200 and "\n" not in line
    assert path.name in line.split(": ")[0]
    for word in words:
        assert word in line, line
    return line


@pytest.mark.parametrize("suffix", suffixes())
def test_empty_binary_and_absent_files_and_folders(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"a{suffix}"
    refused(path, "is not there")
    path.write_bytes(b"")
    refused(path)
    path.write_bytes(bytes(range(256)) * 40)
    refused(path)
    path.write_bytes(b"this is a letter, not a mesh\n" * 40)
    refused(path)
    (tmp_path / f"b{suffix}").mkdir()
    refused(tmp_path / f"b{suffix}", "is a folder")


@pytest.mark.parametrize("suffix", suffixes(writing=True))
def test_a_file_cut_anywhere_is_refused_or_still_a_mesh(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"a{suffix}"
    write_mesh(path, Mesh(CUBE, CUBE_CORNERS, shapes=SHAPES, unit="cm"))
    whole = path.read_bytes()
    for length in range(0, len(whole), max(1, len(whole) // 60)):
        path.write_bytes(whole[:length])
        if suffix == ".obj":
            try:  # a text cut between two lines is a text still
                read_mesh(path)
            except MoueError as error:
                assert path.name in str(error)
        else:
            refused(path)


@pytest.mark.skipif(os.geteuid() == 0, reason="the administrator may read every file")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    path.write_text("v 0 0 0\n")
    path.chmod(0)
    refused(path, "cannot be read: Permission denied")


OBJ = [
    ("v 0 0 0\nv 0 nan 0\n", 2, "not a number"),
    ("v 0 0 0\n# far\nv 1e30 0 0\n", 3, "is further from the origin than any head"),
    ("v 0 0 0\nv 0 inf 0\n", 2, "not a number"),
    ("v 0 0 0\nv 0 0\n", 2, "a vertex of 2 numbers"),
    ("v 0 0 0\nv 0 0 zero\n", 2, "'zero' is not a number"),
    ("v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1 2 4\n", 4, "uses vertex 4 of 3"),
    ("v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1 2 0\n", 4, "uses vertex 0 of 3"),
    ("v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1 2 -4\n", 4, "uses vertex -4 of 3"),
    ("v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1 2 3.5\n", 4, "'3.5' is not the number of a vertex"),
    ("v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1 2 99999999999999\n", 4, "of 3"),
    ("v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1 2\n", 4, "a polygon of 2 corners"),
    ("v 0 0 0\nv 1 0 0\nv 1 1 0\nf\n", 4, "a polygon of 0 corners"),
    ("v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1/1 2/1 3/1\n", 4, "texture coordinate 1 of 0"),
    ("v 0 0 0\nv 1 0 0\nv 1 1 0\nvt a b\nf 1/1 2/1 3/1\n", 4, "'a' is not a number"),
    ("v 0 0 0\nv 1 0 0\nv 1 1 0\nf /1 2 3\n", 4, ""),
    ("v 0 0 0 \\\n\nv 1 0 0\nv 1 1 0\nf 1 \\\n2 9\n", 5, "uses vertex 9 of 3"),
]


@pytest.mark.parametrize(("text", "line", "words"), OBJ)
def test_obj_mistakes_are_named_with_their_line(text: str, line: int, words: str, tmp_path: Path) -> None:
    for end in ("\n", "\r\n"):
        (tmp_path / "a.obj").write_bytes(text.replace("\n", end).encode())
        refused(tmp_path / "a.obj", f"a.obj:{line}: ", words)


def test_obj_with_one_vertex_is_a_mesh_and_with_none_is_not(tmp_path: Path) -> None:
    (tmp_path / "a.obj").write_text("v 1 2 3\n")
    assert read_mesh(tmp_path / "a.obj").positions.tolist() == [[1, 2, 3]]
    (tmp_path / "a.obj").write_text("# nothing\n")
    refused(tmp_path / "a.obj", "holds no vertices")


PLY = "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
PLY += "element face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n1 1 0\n3 0 1 2\n"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("vertex 3", "vertex three", "a.ply:3: "),
        ("vertex 3", "vertex -3", "a.ply:3: "),
        ("vertex 3", "vertex 3000000000000", "ends before"),
        ("face 1", "face 2", "ends before"),
        ("3 0 1 2", "3 0 1 3", "uses vertex 3 of 3"),
        ("3 0 1 2", "3 0 1 -1", "uses vertex -1 of 3"),
        ("3 0 1 2", "2 0 1", "fewer than three"),
        ("3 0 1 2", "900 0 1 2", "does not fit the file"),
        ("1 0 0", "1 nan 0", "not a number"),
        ("1 0 0", "1 zero 0", "a.ply:11: 'zero' is not a number"),
        ("1 0 0", "1 1e30 0", "further from the origin"),
        ("float z", "float w", "without x, y and z"),
        ("float z", "float y", "twice"),
        ("float z", "complex z", "a.ply:6: "),
        ("ascii", "martian", "is not known"),
        ("end_header", "the_end", "no end of its header"),
    ],
)
def test_ply_mistakes_are_named(old: str, new: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "a.ply").write_text(PLY)
    assert read_mesh(tmp_path / "a.ply").polygons.n_faces == 1
    (tmp_path / "a.ply").write_text(PLY.replace(old, new, 1))
    refused(tmp_path / "a.ply", words)


def glb(tmp_path: Path) -> tuple[Path, dict, bytes]:
    """A good GLB, its JSON and its binary chunk."""
    path = tmp_path / "a.glb"
    write_mesh(path, Mesh(CUBE, CUBE_CORNERS, shapes=SHAPES, unit="cm"))
    data = path.read_bytes()
    length = struct.unpack("<I", data[12:16])[0]
    return path, json.loads(data[20 : 20 + length]), data[28 + length :]


def write_glb(path: Path, tree: dict, binary: bytes, total: int | None = None, json_length: int | None = None) -> None:
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    size = 12 + 8 + len(text) + 8 + len(binary)
    head = struct.pack("<4sII", b"glTF", 2, total if total is not None else size)
    first = struct.pack("<I4s", json_length if json_length is not None else len(text), b"JSON")
    path.write_bytes(head + first + text + struct.pack("<I4s", len(binary), b"BIN\0") + binary)


@pytest.mark.parametrize("lie", [{"total": 2**31}, {"json_length": 2**31}, {"total": 16}, {"json_length": 4}])
def test_glb_with_lying_lengths(lie: dict, tmp_path: Path) -> None:
    path, tree, binary = glb(tmp_path)
    write_glb(path, tree, binary, **lie)
    refused(path)


def at(tree: dict, *keys: object) -> object:
    for key in keys:
        tree = tree[key]  # type: ignore[index]
    return tree


GLTF = [
    (("accessors", 0), "count", 10**9, "runs past the end"),
    (("accessors", 0), "count", -1, "which is not a size"),
    (("accessors", 0), "count", "8", "which is not a size"),
    (("accessors", 0), "componentType", 5124, "the wrong type"),
    (("accessors", 0), "bufferView", 99, "uses bufferViews 99"),
    (("bufferViews", 0), "byteLength", 10**9, "runs past the end"),
    (("bufferViews", 0), "byteOffset", 10**9, "runs past the end"),
    (("bufferViews", 0), "byteStride", 1, "runs past the end"),
    (("buffers", 0), "byteLength", 10**9, "of the 1000000000 that it needs"),
    (("buffers", 0), "uri", "../../../../etc/passwd", "buffer 0 lies outside its folder"),
    (("buffers", 0), "uri", "https://example.org/a.bin", "is not a file beside it"),
    (("buffers", 0), "uri", "data:;base64,????", "is not base64"),
    (("meshes", 0, "primitives", 0), "indices", 0, "the wrong type"),
    (("meshes", 0, "extras"), "targetNames", ["grin", "grin"], "two targets are named 'grin'"),
    (("nodes", 0), "children", [0], "is there twice"),
    (("nodes", 0), "children", [7], "uses nodes 7, of 1"),
    (("nodes", 0), "mesh", 3, "uses meshes 3, of 1"),
    (("nodes", 0), "matrix", [1, 2, 3], "not 16 numbers"),
    (("nodes", 0), "scale", ["a", 1, 1], "not numbers"),
    (("nodes", 0), "translation", [0, 1e300, 0], "further from the origin"),
    ((), "nodes", {}, "'nodes' that is not a list"),
    ((), "meshes", [3], "'meshes' that is not a list"),
    ((), "asset", {"version": "1.0"}, "is glTF version 1.0"),
    ((), "extensionsRequired", ["KHR_draco_mesh_compression"], "needs the extension KHR_draco"),
]


@pytest.mark.parametrize(("where", "key", "value", "words"), GLTF)
def test_gltf_mistakes_are_named(where: tuple, key: str, value: object, words: str, tmp_path: Path) -> None:
    path, tree, binary = glb(tmp_path)
    at(tree, *where)[key] = value  # type: ignore[index]
    write_glb(path, tree, binary)
    refused(path, words)


def test_gltf_with_a_triangle_out_of_range_and_a_number_that_is_none(tmp_path: Path) -> None:
    path, tree, binary = glb(tmp_path)
    view = tree["bufferViews"][tree["accessors"][tree["meshes"][0]["primitives"][0]["indices"]]["bufferView"]]
    begin = view["byteOffset"]
    write_glb(path, tree, binary[:begin] + b"\xff\xff" + binary[begin + 2 :])
    refused(path, "a triangle uses vertex 65535 of 8")
    write_glb(path, tree, struct.pack("<f", float("nan")) + binary[4:])
    refused(path, "not a number")


def npz(path: Path, **changes: object) -> None:
    arrays = {
        "neutral": CUBE_CORNERS, "deltas": np.zeros((1, 8, 3), np.float32), "names": np.array(["grin"]),
        "counts": CUBE.counts, "indices": CUBE.indices, "unit": np.array("cm"),
    }  # fmt: skip
    arrays |= changes  # type: ignore[arg-type]
    np.savez(path, **{name: array for name, array in arrays.items() if array is not None})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"neutral": None}, "has no 'neutral'"),
        ({"names": np.array([{"a": 1}], dtype=object)}, "is pickled"),
        ({"neutral": CUBE_CORNERS[:7]}, "uses vertex 7"),
        ({"deltas": np.zeros((1, 7, 3), np.float32)}, "'deltas' is 1 x 7 x 3, not 1 x 8 x 3"),
        ({"neutral": CUBE_CORNERS * np.nan}, "not a number"),
        ({"neutral": CUBE_CORNERS * 1e30}, "further from the origin"),
        ({"neutral": CUBE_CORNERS.astype(complex)}, "which is the wrong type"),
        ({"neutral": np.array(["a"])}, "'neutral' is 1, not any x 3"),
        ({"deltas": np.full((1, 8, 3), np.inf, np.float32)}, "shape 'grin', vertex 0"),
        ({"indices": CUBE.indices + 1}, "uses vertex 8"),
        ({"indices": CUBE.indices.astype(np.int64) + 2**40}, "too large"),
        ({"indices": CUBE.indices[:-1]}, "do not add up"),
        ({"counts": CUBE.counts * 0}, ""),
        ({"unit": np.array("parsec")}, "'parsec' is not known"),
        ({"uv": np.zeros((3, 2))}, "'uv' without 'uv_indices'"),
        ({"uv": np.zeros((3, 2)), "uv_indices": np.full(24, 3)}, "'uv_indices' does not fit"),
    ],
)
def test_npz_mistakes_are_named(changes: dict, words: str, tmp_path: Path) -> None:
    npz(tmp_path / "a.npz")
    assert read_mesh(tmp_path / "a.npz").shapes[0].name == "grin"
    npz(tmp_path / "a.npz", **changes)
    refused(tmp_path / "a.npz", words)


@pytest.mark.parametrize(
    ("rows", "words"), [(2**29 // 24, "would unpack to 0.5 GiB"), (2**33, "is smaller than its header says")]
)
def test_an_npz_that_unpacks_to_far_more_than_itself_is_refused_before_it_does(
    rows: int, words: str, tmp_path: Path
) -> None:
    """Half a GiB of zeros in half a MiB of zip, under a header that says so, or that claims yet more."""
    path = tmp_path / "a.npz"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name in ("names", "counts", "indices", "deltas"):
            buffer = io.BytesIO()
            np.save(buffer, np.zeros(0))
            archive.writestr(name + ".npy", buffer.getvalue())
        with archive.open("neutral.npy", "w", force_zip64=True) as member:
            head = {"descr": "<f8", "fortran_order": False, "shape": (rows, 3)}
            np.lib.format.write_array_header_1_0(member, head)
            for _ in range(512):
                member.write(bytes(2**20))
    tracemalloc.start()
    refused(path, words)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 64 * 2**20


def test_a_folder_of_500_files_of_which_one_is_broken(tmp_path: Path) -> None:
    mesh = Mesh(grid(4, 4), np.random.default_rng(0).normal(size=(16, 3)))
    write_mesh(tmp_path / "neutral.obj", mesh)
    good = (tmp_path / "neutral.obj").read_bytes()
    for i in range(499):
        (tmp_path / f"shape_{i}.obj").write_bytes(good)
    (tmp_path / "shape_321.obj").write_bytes(good.replace(b"v ", b"v x", 1))
    with pytest.raises(MoueError, match=r"shape_321.obj:1: ") as caught:
        open_library(tmp_path)
    assert len(str(caught.value)) <= 200
    head = open_library(tmp_path, skip_broken=True)
    assert len(head.shapes) == 498
    assert any("shape_321.obj:1 was left out" in note for note in head.notes)


def test_folders_that_are_no_library(tmp_path: Path) -> None:
    for make, words in (
        (lambda: None, "holds no targets"),
        (lambda: (tmp_path / "a.glb").write_bytes(b""), "give a.glb itself"),
        (lambda: [(tmp_path / n).write_text("v 0 0 0\n") for n in ("a.obj", "a.ply")], "have the same name"),
    ):
        make()
        with pytest.raises(MoueError, match=words):
            open_library(tmp_path)
    with pytest.raises(MoueError, match="is not there"):
        open_library(tmp_path / "nowhere")


def test_suffixes_that_are_not_known(tmp_path: Path) -> None:
    with pytest.raises(MoueError, match=r"unknown suffix '.docx'; Moue reads .obj"):
        format_of(tmp_path / "a.docx")
    with pytest.raises(MoueError, match=r"unknown suffix '.stl'; Moue writes .obj"):
        format_of(tmp_path / "a.stl", writing=True)
