"""Files that claim or hold far more than they should: what opening each one takes in memory and time.

`python -m tests.faults.bounds_campaign [NAME ...]` makes each file, reads it in a process of its own, and prints its
size, the peak of memory, the processor time and what was said. Allowed are 1 GB or 6 times the file, whichever is more,
and 20 s; or one line of refusal within the same bounds. Exit code 1 where one goes beyond.
"""

from __future__ import annotations

import argparse
import io
import json
import struct
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

MOST_BYTES, MOST_TIMES, MOST_SECONDS = 10**9, 6, 20.0
READ = """
import resource, sys, time
from pathlib import Path
from composer.document.store import open_document
from composer.formats.registry import read_mesh
from composer.formats.sculpt_mesh import read_sculpt_mesh
from composer.head.landmark_file import read_landmark_pairs
from composer.document.mask_file import read_mask, read_picture
from composer.errors import MoueError
path = Path(sys.argv[2])
begun, before = time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    got = {kind}(path)
    said = "read"
except MoueError as error:
    said = str(error)
    assert "\\n" not in said and len(said) <= 200
used = resource.getrusage(resource.RUSAGE_SELF)
children = resource.getrusage(resource.RUSAGE_CHILDREN)
print(max(used.ru_maxrss, children.ru_maxrss), time.process_time() - begun + children.ru_utime, said)
"""


@dataclass(frozen=True)
class Oversized:
    """A file that is made at a path, and what reads it."""

    name: str
    kind: str
    make: Callable[[Path], object]


@dataclass(frozen=True)
class Taken:
    """What reading a file took."""

    file_bytes: int
    peak_bytes: int
    seconds: float
    said: str

    @property
    def bounded(self) -> bool:
        """Whether that is allowed."""
        return self.peak_bytes <= max(MOST_BYTES, MOST_TIMES * self.file_bytes) and self.seconds <= MOST_SECONDS


def taken(each: Oversized, folder: Path) -> Taken:
    """Make a file in a folder, and read it in a process of its own."""
    path = folder / each.name
    each.make(path)
    done = subprocess.run(
        [sys.executable, "-c", READ.replace("{kind}", each.kind), "read", str(path)], capture_output=True, text=True,
        timeout=300,
    )  # fmt: skip
    if done.returncode:
        ended = done.stderr.strip().splitlines()[-1] if done.stderr.strip() else f"ended with {done.returncode}"
        return Taken(path.stat().st_size, 2**62, 0.0, ended)
    peak, seconds, said = done.stdout.split(" ", 2)
    size = path.stat().st_size
    path.unlink()
    return Taken(size, int(peak) * 1024, float(seconds), said.strip())


def _deep_toml(path: Path) -> None:
    path.write_text('moue = 1\nhead = "a"\n' + ".".join(["a"] * 40_000) + " = 1\n")


def _deep_table(path: Path) -> None:
    path.write_text('moue = 1\nhead = "a"\n[' + ".".join(["a"] * 40_000) + "]\n")


def _deep_brackets(path: Path) -> None:
    path.write_text("[points]\na = " + "[" * 40_000 + "]" * 40_000 + "\n")


def _lying_moue(path: Path) -> None:
    """A mask of 2 GB of zeros whose directory claims 1,000 bytes."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("document.toml", 'moue = 1\nhead = "a"\n[regions.a]\nfrom = "file"\nfile = "masks/a.npy"\n')
        with archive.open("masks/a.npy", "w", force_zip64=True) as entry:
            for _ in range(2000):
                entry.write(bytes(10**6))
    data = bytearray(held.getvalue())
    at = data.rfind(b"PK\x01\x02")
    struct.pack_into("<I", data, at + 24, 1000)
    path.write_bytes(data)


def _npz_names(path: Path) -> None:
    """10^12 empty strings, which take no byte."""
    header = b"{'descr': '<U0', 'fortran_order': False, 'shape': (1000000000000,), }"
    header += b" " * (-(len(header) + 11) % 64) + b"\n"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("names.npy", b"\x93NUMPY\x01\x00" + struct.pack("<H", len(header)) + header)
        for name, values in (("neutral", np.zeros((3, 3))), ("counts", np.array([3])), ("indices", np.arange(3)),
                             ("deltas", np.zeros((0, 3, 3))), ("unit", np.array("mm"))):  # fmt: skip
            held = io.BytesIO()
            np.save(held, values)
            archive.writestr(f"{name}.npy", held.getvalue())


def _long_line(path: Path) -> None:
    path.write_bytes(b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf " + b"1 2 3 " * (200 * 10**6 // 6) + b"\n")


def _long_comment(path: Path) -> None:
    path.write_bytes(b"v 0 0 0\nv 1 0 0\nv 0 1 0\n# " + b"x" * (200 * 10**6) + b"\nf 1 2 3\n")


def _text_stl(path: Path) -> None:
    facet = b"facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"
    with path.open("wb") as file:
        file.write(b"solid a\n")
        for _ in range(500):
            file.write(facet * 10_000)
        file.write(b"endsolid a\n")


def _polygon(path: Path) -> None:
    angles = np.linspace(0, 2 * np.pi, 10**6, endpoint=False)
    with path.open("wb") as file:
        np.savetxt(file, np.stack([np.cos(angles), np.sin(angles), 0 * angles], axis=1), "v %.5f %.5f %.0f")
        file.write(b"f " + b" ".join(b"%d" % i for i in range(1, 10**6 + 1)) + b"\n")


def _glb(path: Path, change: Callable[[dict], object]) -> None:
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], dtype="<f4").tobytes()
    data = points + np.array([0, 1, 2, 0], dtype="<u2").tobytes()
    tree = {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3", "min": [0, 0, 0], "max": [1, 1, 0]},
            {"bufferView": 1, "componentType": 5123, "count": 3, "type": "SCALAR"},
        ],
        "bufferViews": [{"buffer": 0, "byteOffset": 0, "byteLength": 36},
                        {"buffer": 0, "byteOffset": 36, "byteLength": 6}],
        "buffers": [{"byteLength": len(data)}],
    }  # fmt: skip
    change(tree)
    text = json.dumps(tree, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    total = 12 + 8 + len(text) + 8 + len(data)
    path.write_bytes(
        struct.pack("<4sIIII", b"glTF", 2, total, len(text), 0x4E4F534A) + text
        + struct.pack("<II", len(data), 0x004E4942) + data
    )  # fmt: skip


def _nested(tree: dict) -> None:
    tree["nodes"] = [{"children": [i + 1]} for i in range(50_000)] + [{"mesh": 0}]


def _shared(tree: dict) -> None:
    """Every node of 17 rows names the next one twice: 131,072 ways to one mesh. Then 100,000 that share it at once."""
    tree["nodes"] = [{"children": [i + 1, i + 1]} for i in range(17)] + [{"mesh": 0}]


def _many_nodes(tree: dict) -> None:
    tree["nodes"] = [{"mesh": 0} for _ in range(100_000)]
    tree["scenes"][0]["nodes"] = list(range(100_000))


def _targets(tree: dict) -> None:
    tree["meshes"][0]["primitives"][0]["targets"] = [{"POSITION": 0}] * 300_000


def _picture(path: Path) -> None:
    from PIL import Image

    Image.new("L", (12_000, 12_000), 128).save(path, "PNG")


def _glb_with(change: Callable[[dict], object]) -> Callable[[Path], None]:
    return lambda path: _glb(path, change)


FILES = (
    Oversized("deep_keys.toml", "open_document", _deep_toml),
    Oversized("deep_table.toml", "open_document", _deep_table),
    Oversized("deep_marks.toml", "read_landmark_pairs", _deep_toml),
    Oversized("deep_brackets.toml", "read_landmark_pairs", _deep_brackets),
    Oversized("lies.moue", "open_document", _lying_moue),
    Oversized("names.npz", "read_mesh", _npz_names),
    Oversized("long_line.obj", "read_mesh", _long_line),
    Oversized("long_comment.obj", "read_mesh", _long_comment),
    Oversized("polygon.obj", "read_mesh", _polygon),
    Oversized("polygon_sculpt.obj", "read_sculpt_mesh", _polygon),
    Oversized("text.stl", "read_sculpt_mesh", _text_stl),
    Oversized("nested.glb", "read_mesh", _glb_with(_nested)),
    Oversized("shared.glb", "read_mesh", _glb_with(_shared)),
    Oversized("many_nodes.glb", "read_mesh", _glb_with(_many_nodes)),
    Oversized("nested_sculpt.glb", "read_sculpt_mesh", _glb_with(_nested)),
    Oversized("shared_sculpt.glb", "read_sculpt_mesh", _glb_with(_shared)),
    Oversized("many_nodes_sculpt.glb", "read_sculpt_mesh", _glb_with(_many_nodes)),
    Oversized("targets.glb", "read_mesh", _glb_with(_targets)),
    Oversized("mask.png", "read_picture", _picture),
)


def main() -> None:
    """Run it, and print."""
    read = argparse.ArgumentParser(description=__doc__)
    read.add_argument("names", nargs="*", metavar="NAME", help=", ".join(each.name for each in FILES))
    names = read.parse_args().names
    beyond = 0
    with tempfile.TemporaryDirectory(prefix="moue-bounds-") as folder:
        for each in FILES:
            if names and each.name not in names:
                continue
            found = taken(each, Path(folder))
            beyond += not found.bounded
            sizes = f"{found.file_bytes / 1e6:.1f} MB, peak {found.peak_bytes / 1e6:.0f} MB, {found.seconds:.1f} s"
            print(f"{'' if found.bounded else '! '}{each.name}: {sizes}: {found.said[:110]}", flush=True)
    sys.exit(1 if beyond else 0)


if __name__ == "__main__":
    main()
