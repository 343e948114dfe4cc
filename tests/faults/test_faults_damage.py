"""Inputs with bytes changed at random, from a seed: success or a MoueError of one line, never another exception.

By hand a larger number is run: MOUE_MUTATIONS=50000 pytest tests/faults/test_faults_damage.py
"""

from __future__ import annotations

import io
import os
import re
import unicodedata
import warnings
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.cli import main as cli
from composer.document.mask_file import read_delta, read_mask, read_picture
from composer.document.store import open_document, save_document
from composer.errors import MoueError
from composer.formats.frame_sequence import read_sequence
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.formats.weight_csv import read_weight_csv
from composer.head.head import InBetween, Shape
from composer.head.landmark_file import read_landmarks
from tests.faults.test_faults_formats_fuzz import LANDMARKS, good

COUNT = int(os.environ.get("MOUE_MUTATIONS", "4000"))
"""Mutated inputs over all kinds; those that start a process of their own are tried a twentieth as often."""
DOCUMENT = """moue = 1
head = "library"
[regions.brow]
from = "file"
file = "masks/brow.npy"
[shapes.kept]
delta = "shapes/kept.npy"
[recipes.doubt]
strength = 0.5
cells = [{ region = "brow", shape = "grin", weight = 1.0 }]
[clips.tide]
length = 1.0
keys = [{ time = 0.5, recipe = "doubt", interpolation = "smooth" }]
[landmarks]
pronasale = { vertex = 3 }
"""
SPLICES = (b"(", b"'", b"\\", b"0x", b"9" * 40, b"-", b"nan", b"1e999", b"[", b"{", b"}", b"\n", b"\x00", b"\xff", b"L",
           b"None", b"lambda:0", b"'O'", b"1or 2", b"=", b"\x1b[31m", b"'''", b"\r", b"@../up.usda@")  # fmt: skip


@cache
def sample(kind: str) -> bytes:
    """A good file of this kind."""
    if kind in (".obj", ".ply", ".stl", ".glb", ".gltf", ".npz"):
        return good(kind, large=False)
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"a{kind.removeprefix('delta').removeprefix('frames')}"
        rng = np.random.default_rng(0)
        if kind in (".npy", "delta.npy"):
            np.save(path, rng.random(40) if kind == ".npy" else rng.random((12, 3)))
        elif kind == ".png":
            from PIL import Image

            Image.fromarray(rng.integers(0, 255, (16, 16), dtype=np.uint8)).save(path)
        elif kind.startswith("frames"):
            from composer.formats.npz_frames import write_frames
            from composer.formats.usd_frames import Motion, write_motion

            polygons, points = cube_sphere(2)
            mesh, times = Mesh(polygons, points, unit="mm"), np.arange(3) / 24.0
            frames = [points + rng.random(points.shape) for _ in times]
            if path.suffix == ".npz":
                write_frames(path, mesh, frames, times, 24.0, ["grin"], np.zeros((3, 1)))
            else:
                write_motion(path, mesh, Motion("tide", frames, times, 24.0))
        elif kind == ".toml":
            return DOCUMENT.encode()
        elif kind == ".csv":
            return b"time,grin,brow/grin %\n0.0,0,0\n0.5,0.25,80\n1.0,1e-3,-20\n"
        elif kind == ".marks":
            return LANDMARKS
        elif kind == ".moue":
            (Path(folder) / "document.toml").write_text(DOCUMENT)
            project = open_document(Path(folder) / "document.toml")
            stored = {"masks/brow.npy": rng.random(40), "shapes/kept.npy": rng.random((40, 3))}
            save_document(project.with_(stored=stored), path)
        else:
            polygons, points = cube_sphere(2)
            delta = (0.1 * points).astype(np.float32)
            shape = Shape("grin", delta, (InBetween(0.5, delta),))
            write_mesh(path, Mesh(polygons, points, groups={"lid": np.arange(3, dtype=np.int32)}, shapes=(shape,)))
        return path.read_bytes()


def mutated(data: bytes, rng: np.random.Generator) -> bytes:
    """The bytes changed at one to five places: half of the time near the beginning, where headers are."""
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 6))):
        at = int(rng.integers(0, max(1, min(len(out), 400) if rng.random() < 0.5 else len(out))))
        match int(rng.integers(6)):
            case 0:
                out[at : at + 1] = bytes([int(rng.integers(256))])
            case 1:
                out[at : at + 1] = bytes([out[at] ^ (1 << int(rng.integers(8)))] if at < len(out) else [])
            case 2:
                del out[at : at + int(rng.integers(1, 30))]
            case 3:
                out[at:at] = SPLICES[int(rng.integers(len(SPLICES)))]
            case 4:
                out[at : at + 4] = int(rng.choice([0, 1, 0xFFFFFFFF, 0x7FFFFFFF, 0x80000000])).to_bytes(4, "little")
            case _:
                if rng.random() < 0.3:
                    del out[at:]
    return bytes(out)


def is_one_line(text: str) -> bool:
    """Whether a text is at most 200 signs, none of which steers a terminal or ends a line (Unicode Standard, 4.5,
    General Category: Cc, Cf, Cs, Zl, Zp). A sign that nobody has assigned yet may be a letter of a later version."""
    return len(text) <= 200 and not any(unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Zl", "Zp") for sign in text)


def read_all_frames(path: Path) -> object:
    """Every frame of a sequence."""
    return list(read_sequence(path).frames())


READERS: dict[str, Callable[[Path], object]] = {
    ".npy": read_mask, "delta.npy": read_delta, ".png": read_picture, ".toml": open_document, ".moue": open_document,
    ".marks": read_landmarks, ".obj": read_mesh, ".ply": read_mesh, ".stl": read_mesh,
    ".glb": read_mesh, ".gltf": read_mesh, ".npz": read_mesh, ".usda": read_mesh, ".usdc": read_mesh,
    ".usdz": read_mesh, ".csv": read_weight_csv, "frames.npz": read_all_frames, "frames.usda": read_all_frames,
}  # fmt: skip
APART = (".usdc", ".usdz")


@pytest.mark.parametrize("kind", READERS)
def test_a_mutated_input_is_read_or_refused_in_one_line(kind: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(list(kind.encode()))
    path = tmp_path / f"a{kind.removeprefix('delta').removeprefix('frames').replace('.marks', '.toml')}"
    count = max(1, COUNT // len(READERS) // (20 if kind in APART else 1))
    escaped: list[str] = []
    for _ in range(count):
        data = mutated(sample(kind), rng)
        path.write_bytes(data)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                READERS[kind](path)
        except MoueError as error:
            assert is_one_line(str(error))
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
            escaped.append(f"{type(error).__name__}: {error!s:.100} of {data[:120]!r}")
    assert not escaped, f"{len(escaped)} of {count}: " + "\n".join(escaped[:5])


HEADERS = {
    "twelve bytes": b"\x93NUMPY\x01\x00\x02\x00({",
    "an open bracket": b"{'descr': '<f8', 'fortran_order': False, 'shape': (3,",
    "a name": b"{'descr': x, 'fortran_order': False, 'shape': (3,)}",
    "a type that is none": b"{'descr': '<q9', 'fortran_order': False, 'shape': (3,)}",
    "a type that is a tuple": b"{'descr': ('<f8', 'x'), 'fortran_order': False, 'shape': (3,)}",
    "a size beyond all memory": b"{'descr': '<f8', 'fortran_order': False, 'shape': (99999999999999999999,)}",
    "a size below zero": b"{'descr': '<f8', 'fortran_order': False, 'shape': (-3,)}",
    "a size of old, cut short": b"{'descr': '<f8', 'fortran_order': False, 'shape': (3L,",
    "objects": b"{'descr': '|O', 'fortran_order': False, 'shape': (3,)}",
    "nothing in each": b"{'descr': '|V0', 'fortran_order': False, 'shape': (3,)}",
    "no number": b"{'descr': '<f8', 'fortran_order': False, 'shape': ('3',)}",
    "brackets without end": b"(" * 9000,
}


@pytest.mark.parametrize("fault", HEADERS)
def test_a_damaged_array_header_is_one_line_and_exit_code_2(
    fault: str, tmp_path: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A header is a Python literal behind its length (numpy, "numpy.lib.format", Format Version 1.0)."""
    text = HEADERS[fault]
    data = text if text.startswith(b"\x93") else b"\x93NUMPY\x01\x00" + len(text).to_bytes(2, "little") + text
    (tmp_path / "brow.npy").write_bytes(data + bytes(24) * (fault != "twelve bytes"))
    with pytest.raises(MoueError, match="brow.npy"):
        read_mask(tmp_path / "brow.npy")
    with zipfile.ZipFile(tmp_path / "library.npz", "w") as archive:
        archive.writestr("neutral.npy", (tmp_path / "brow.npy").read_bytes())
    polygons, points = cube_sphere(2)
    (tmp_path / "library").mkdir()
    write_mesh(tmp_path / "library/neutral.obj", Mesh(polygons, points))
    write_mesh(tmp_path / "library/grin.obj", Mesh(polygons, points * 1.1))
    (tmp_path / "face.toml").write_text("moue = 1\nhead = 'library'\n[regions.a]\nfrom = 'file'\nfile = 'brow.npy'\n")
    monkeypatch.chdir(tmp_path)
    for words in (["inspect", "library.npz"], ["split", "face.toml", "--to", "pieces"]):
        with pytest.raises(SystemExit) as ended:
            cli.main(words)
        said = capfd.readouterr().err
        assert ended.value.code == 2 and said.count("\n") == 1 and "Traceback" not in said, said


@pytest.mark.parametrize("error", [MemoryError, RecursionError])
def test_what_no_reader_expects_is_still_one_line(
    error: type[Exception], tmp_path: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def run(*_given: object, **_named: object) -> None:
        raise error

    monkeypatch.setattr(cli, "app", run)
    with pytest.raises(SystemExit) as ended:
        cli.main(["inspect", str(tmp_path)])
    said = capfd.readouterr().err
    assert ended.value.code == 2 and said.count("\n") == 1 and "Traceback" not in said


def test_memory_that_is_not_there_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    polygons, points = cube_sphere(2)
    write_mesh(tmp_path / "a.npz", Mesh(polygons, points))

    def no_memory(*_given: object, **_named: object) -> None:
        raise MemoryError

    monkeypatch.setattr("composer.formats.npz.read_body", no_memory)
    with pytest.raises(MoueError, match="a.npz: needs more memory than there is"):
        read_mesh(tmp_path / "a.npz")


def test_arrays_of_every_kind_are_read_as_numpy_reads_them() -> None:
    """Against numpy's own reader, which is what other programs write with."""
    from composer.formats.npy import read_plain

    rng = np.random.default_rng(3)
    for array in (rng.random((4, 3)), np.asfortranarray(rng.random((4, 3))), np.arange(5, dtype=">i2"), np.float32(2.0),
                  np.zeros((0, 3)), np.array(["a", "bc"]), np.array(True)):  # fmt: skip
        held = io.BytesIO()
        np.save(held, array)
        held.seek(0)
        read = read_plain(held, "a.npy")
        assert read.dtype == np.asarray(array).dtype and np.array_equal(read, array)


@pytest.mark.parametrize(("kind", "pattern", "instead"), [
    (".csv", rb"^time", "\u05cf".encode()),  # a sign that nobody has assigned
    ("delta.npy", rb"(?s)(?<=\n).{8}", b"\x01\x00\x00\x00\x00\x00\xf0\x7f"),  # a signalling NaN (IEEE 754-2019, 6.2.1)
    ("frames.usda", rb"(?<=points.timeSamples = {\n            0: \[\()[^,]+", b"1e996"),  # not finite once turned
])  # fmt: skip
def test_what_once_escaped_is_refused_in_one_line(kind: str, pattern: bytes, instead: bytes, tmp_path: Path) -> None:
    data, count = re.subn(pattern, instead, sample(kind), count=1)
    assert count == 1
    path = tmp_path / f"a{kind.removeprefix('frames')}"
    path.write_bytes(data)
    with warnings.catch_warnings(), pytest.raises(MoueError) as caught:
        warnings.simplefilter("error")
        READERS[kind](path)
    assert is_one_line(str(caught.value))
