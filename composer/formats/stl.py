"""STL: loose triangles, text or binary; read only, for sculpts.

Specification: 3D Systems 1989, "StereoLithography Interface Specification". It has no units.

Kept: the triangles. Every corner in an STL is a separate vertex, so corners with the same three numbers are joined, in
the order of their first appearance. Lost: normals (they follow from the triangles), attributes.
"""

from __future__ import annotations

import re
import struct
import warnings
from contextlib import suppress
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.limits import check_positions
from composer.formats.mesh import Mesh
from composer.formats.obj_lines import read_raw
from composer.formats.obj_numbers import BadNumber
from composer.formats.stl_rows import plain_rows
from composer.formats.weld import first_of_each
from composer.geometry.polygons import Polygons
from composer.head.reading import open_regular, reading

CHUNK = 1 << 20
"""Bytes of a text that are read at a time (our choice)."""
VERTEX = re.compile(rb"^[ \t]*vertex[ \t]+([^ \t\r\n]+[ \t]+[^ \t\r\n]+[ \t]+[^ \t\r\n]+)[ \t\r]*$", re.MULTILINE)
PLAIN = b"0123456789.eE+- \t"
FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def read(path: Path) -> Mesh:
    """The mesh of an STL file, corners joined. Raises MoueError for a file that cannot be used."""
    path = Path(path)
    data = read_raw(path)
    corners = _corners(data, path)
    if not len(corners):
        raise MoueError("holds no triangles", path)
    check_positions(corners, path)
    return joined_corners(corners, path)


def joined_corners(corners: NDArray[np.float64], path: Path) -> Mesh:
    """The mesh of loose triangles' `corners` (3 t, 3), equal ones joined, triangles without area left out."""
    first, joined = first_of_each(corners)
    triangles = joined.reshape(-1, 3)
    whole = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    notes = [f"{len(corners)} corners were joined to {len(first)} vertices."]
    if not whole.all():
        notes.append(f"{int(np.count_nonzero(~whole))} triangles without area were left out.")
    kept = triangles[whole]
    polygons = Polygons(np.full(len(kept), 3), kept.ravel(), len(first))
    return Mesh(polygons, corners[first], name=path.stem, path=path, notes=tuple(notes))


def _corners(data: NDArray[np.uint8], path: Path) -> NDArray[np.float64]:
    """(3 t, 3) the corners in file order."""
    if len(data) >= 84:
        count = int(data[80:84].view("<u4")[0])
        if 84 + count * FACET.itemsize == len(data):
            return data[84:].view(FACET)["corners"].reshape(-1, 3).astype(np.float64)
    start = data[:512].tobytes().lstrip()
    if not start.startswith(b"solid"):
        raise MoueError("is neither a complete binary STL nor a text STL", path, hint="is it cut short?")
    pieces, at, before = [], 0, 0
    while at < len(data):
        end = min(at + CHUNK, len(data))
        while end < len(data) and data[end - 1] != 10:
            end += 1 if data[end] == 10 else int(np.argmax(data[end : end + CHUNK] == 10)) + 1
        text = data[at:end].tobytes()
        pieces.append(_vertices(text, before, path))
        before += text.count(b"\n")
        at = end
    corners = np.concatenate(pieces) if pieces else np.zeros((0, 3))
    if len(corners) % 3:
        raise MoueError("ends inside a triangle", path, hint="the file is cut short")
    return corners


def _vertices(text: bytes, before: int, path: Path) -> NDArray[np.float64]:
    """(k, 3) the numbers of the vertices in a piece of text, after `before` lines. Numbers are read in one go; where
    that fails, line by line, for the line that is told.
    """
    with suppress(BadNumber):
        plain = plain_rows(text)
        if plain is not None:
            return plain
    rows = VERTEX.findall(text)
    joined = b" ".join(rows)
    if not joined.translate(None, PLAIN) and len(rows) == text.count(b"vertex"):
        with suppress(ValueError, DeprecationWarning), warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)
            found = np.fromstring(joined.decode("ascii"), dtype=np.float64, sep=" ")
            if len(found) == 3 * len(rows):
                return found.reshape(-1, 3)
    out = []
    for number, row in enumerate(text.split(b"\n"), before + 1):
        words = row.split()
        if words[:1] == [b"vertex"]:
            try:
                out.append([float(words[1]), float(words[2]), float(words[3])])
            except (IndexError, ValueError):
                raise MoueError("a vertex that is not three numbers", path, number) from None
    return np.array(out, dtype=np.float64).reshape(-1, 3)


def is_binary(path: Path) -> bool:
    """Whether an STL's size is the one that a binary header tells. Raises MoueError where it cannot be read."""
    with reading(path), open_regular(path) as file:
        start = file.read(84)
        return len(start) == 84 and 84 + struct.unpack("<I", start[80:])[0] * FACET.itemsize == path.stat().st_size
