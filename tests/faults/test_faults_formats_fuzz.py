"""Files with bytes changed at random: a mesh or a MoueError, nothing else, in bounded memory."""

from __future__ import annotations

import tracemalloc
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.obj_text import ObjText
from composer.formats.registry import read_mesh, write_mesh
from composer.head.head import InBetween, Shape, TextureCoordinates
from composer.head.landmarks import read_landmarks
from tests.small_heads import grid

MEMORY = 300 * 2**20


@cache
def good(kind: str, large: bool) -> bytes:
    """A good file of this kind; large ones are some hundred kilobytes."""
    polygons = grid(60, 50) if large else grid(4, 3)
    rng = np.random.default_rng(0)
    n, k = polygons.n_vertices, len(polygons.indices)
    delta = rng.normal(size=(n, 3)).astype(np.float32)
    delta[: n // 2] = 0
    mesh = Mesh(
        polygons,
        rng.normal(size=(n, 3)),
        TextureCoordinates(rng.random((9, 2)), rng.integers(0, 9, k).astype(np.int32)),
        {"face": np.arange(3, dtype=np.int32)},
        materials={"bone": np.arange(2, dtype=np.int32)},
        colours=rng.random((n, 3)),
        shapes=(Shape("grin", delta, (InBetween(0.5, delta),)),),
        unit="cm",
    )
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"a{kind.removesuffix('+')}"
        if kind == ".ply+":
            text = f"ply\nformat ascii 1.0\nelement vertex {n}\nproperty float x\nproperty float y\nproperty float z\n"
            text += f"element face {polygons.n_faces}\nproperty list uchar int vertex_indices\nend_header\n"
            text += "".join("{:.5f} {:.5f} {:.5f}\n".format(*row) for row in mesh.positions)
            text += "".join("4 {} {} {} {}\n".format(*row) for row in polygons.indices.reshape(-1, 4))
            return text.encode()
        if kind == ".stl":
            corners = mesh.positions[polygons.triangles].astype("<f4")
            rows = np.zeros(len(corners), [("n", "<f4", 3), ("c", "<f4", (3, 3)), ("a", "<u2")])
            rows["c"] = corners
            return bytes(80) + np.uint32(len(rows)).tobytes() + rows.tobytes()
        write_mesh(path, mesh)
        return path.read_bytes()


@st.composite
def mutations(draw: st.DrawFn, data: bytes) -> bytes:
    """The bytes with a few of them changed."""
    out = bytearray(data)
    for _ in range(draw(st.integers(1, 6))):
        if not out:
            break
        # Half of the time near the beginning, where headers are.
        end = len(out) - 1 if draw(st.booleans()) else min(len(out) - 1, 600)
        place = draw(st.integers(0, end))
        kind = draw(st.sampled_from(["flip", "number", "cut", "double", "text", "lose"]))
        if kind == "flip":
            out[place] ^= 1 << draw(st.integers(0, 7))
        elif kind == "number":
            value = draw(st.sampled_from([0, 1, 0x7F, 0xFF, 0x7FFFFFFF, 0xFFFFFFFF, 0x80000000, 0x7FC00000]))
            out[place : place + 4] = value.to_bytes(4, "little")
        elif kind == "cut":
            del out[place:]
        elif kind == "double":
            out[place:place] = out[place : place + draw(st.integers(1, 200))]
        elif kind == "lose":
            del out[place : place + draw(st.integers(1, 200))]
        else:
            words = [
                b"nan",
                b"-",
                b"1e999",
                b" ",
                b"\n",
                b"\\\n",
                b"/",
                b"999999999999999999999",
                b"[",
                b'"',
                b"\xff\xfe",
                b"#",
            ]
            out[place:place] = draw(st.sampled_from(words))
    return bytes(out)


@pytest.mark.parametrize("kind", [".obj", ".ply", ".ply+", ".stl", ".glb", ".gltf", ".npz"])
@pytest.mark.parametrize("large", [False, True])
def test_only_a_moue_error_escapes(kind: str, large: bool, tmp_path: Path) -> None:
    path = tmp_path / f"a{kind.removesuffix('+')}"

    @settings(max_examples=15 if large else 60, deadline=None, suppress_health_check=list(HealthCheck), database=None)
    @given(mutations(good(kind, large)))
    def attempt(data: bytes) -> None:
        path.write_bytes(data)
        try:
            mesh = read_mesh(path)
            if kind == ".obj":
                neutral = ObjText(path)
                neutral.write(tmp_path / "out.obj", neutral.positions + 1.0)
        except MoueError as error:
            assert path.name in str(error) and len(str(error)) <= 200 and "\n" not in str(error)
        else:
            assert np.isfinite(mesh.positions).all()
            assert not len(mesh.polygons.indices) or mesh.polygons.indices.max() < mesh.n_vertices

    tracemalloc.start()
    try:
        attempt()
        assert tracemalloc.get_traced_memory()[1] < MEMORY
    finally:
        tracemalloc.stop()


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.binary(max_size=300), suffix=st.sampled_from([".obj", ".ply", ".stl", ".glb", ".gltf", ".npz"]))
def test_random_bytes(data: bytes, suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"a{suffix}"
    for start in (b"", b"ply\n", b"glTF\x02\x00\x00\x00", b"PK\x03\x04", b"v 0 0 0\n", b'{"asset":{'):
        path.write_bytes(start + data)
        try:
            read_mesh(path)
        except MoueError as error:
            assert path.name in str(error)


LANDMARKS = b"""stomion = 3
[points]
a = [1.0, 2.0, 3]
b = { triangle = [1, 2, 3], bary = [0.5, 0.25, 0.25] }
[curves]
c = [1, 2]
"""


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=mutations(LANDMARKS), suffix=st.sampled_from([".toml", ".json"]))
def test_landmarks(data: bytes, suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"m{suffix}"
    path.write_bytes(data)
    try:
        read_landmarks(path)
    except MoueError as error:
        assert path.name in str(error)
