"""The byte offsets of the vertices and normals in an OBJ text, found block by block.

Memory never holds the whole text: it holds the neutral's positions, and eight bytes for each line.
"""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import IO

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, cannot
from composer.formats.obj_lines import OTHER, PADDING, VN, Lines, V, find_lines, read_bytes
from composer.formats.obj_numbers import Bytes, tokens
from composer.formats.obj_scan import scan_vertices
from composer.head.reading import open_regular

BLOCK = 1 << 23
Stamp = tuple[int, int]


@dataclass(frozen=True, eq=False)
class Places:
    """The numeric lines (l,) of a text, `v` and `vn`, in file order.

    `starts` is where each begins, `stops` where its third number ends; `is_normal` which are normals;
    `positions` (n, 3) what the vertices say; `libraries` the `mtllib` lines as (where it begins, its bytes).
    """

    positions: NDArray[np.float64]
    starts: NDArray
    stops: NDArray
    is_normal: NDArray[np.bool_]
    libraries: list[tuple[int, bytes]]
    size: int
    stamp: Stamp


def find_places(path: Path) -> Places:
    """Scan the text of `path`. Raises MoueError, with the line, where it is not a usable OBJ."""
    try:
        with open_regular(path) as file:
            status = os.fstat(file.fileno())
            found = [_in_block(data, at, path) for at, data in _blocks(file)]
    except OSError as error:
        raise cannot("read", path, error) from None
    except MoueError:
        # A line number within a block is not that of the file: scanning the whole file gives the right one.
        scan_vertices(find_lines(read_bytes(path)), path)
        raise
    if not any(len(block.positions) for block in found):
        raise MoueError("holds no vertices", path, hint="is it an OBJ file?")
    kind = np.uint32 if status.st_size < 2**32 else np.int64
    positions = _drained([block.positions for block in found], 3)
    return Places(
        positions,
        np.concatenate([block.starts.astype(kind) for block in found]),
        np.concatenate([block.stops.astype(kind) for block in found]),
        np.concatenate([block.is_normal for block in found]),
        [library for block in found for library in block.libraries],
        status.st_size,
        (status.st_size, status.st_mtime_ns),
    )


def _drained(pieces: list[NDArray], width: int) -> NDArray[np.float64]:
    """The pieces as one array, each freed as soon as it is copied."""
    out = np.empty((sum(map(len, pieces)), width))
    at = 0
    while pieces:
        piece = pieces.pop(0)
        out[at : at + len(piece)] = piece
        at += len(piece)
    return out


def _blocks(file: IO[bytes]) -> Iterator[tuple[int, Bytes]]:
    """(where it begins, its bytes and line feeds behind them) of blocks that end with a line, not a continued one."""
    at, rest = 0, b""
    while True:
        more = file.read(BLOCK)
        text = rest + more
        cut = len(text) if not more else _last_end(text)
        if cut:
            yield at, np.frombuffer(text[:cut] + b"\n" * PADDING, dtype=np.uint8).copy()
            at += cut
        rest = text[cut:]
        if not more:
            return


def _last_end(text: bytes) -> int:
    """Past the last line feed that no backslash stands before; 0 where there is none."""
    end = text.rfind(b"\n")
    while end > 0 and text[:end].rstrip(b"\r")[-1:] == b"\\":
        end = text.rfind(b"\n", 0, end)
    return end + 1


def _in_block(data: Bytes, at: int, path: Path) -> Places:
    """The places of one block, counted from the beginning of the file."""
    if not data.all():
        raise MoueError("is not text but binary", path, hint="is it an OBJ file?")
    raw = data.copy() if (data == 92).any() or (data == 13).any() else data
    lines = find_lines(data)
    positions, _ = scan_vertices(lines, path)
    numeric = np.flatnonzero((lines.kinds == V) | (lines.kinds == VN))
    libraries = []
    for line in lines.of_kind(OTHER):
        if lines.text(int(line)).split()[:1] == ["mtllib"]:
            begin, end = int(lines.starts[line]), int(lines.ends[line])
            libraries.append((at + begin, raw[begin:end].tobytes()))
    starts = lines.starts[numeric]
    return Places(
        positions,
        starts + at,
        _third_ends(lines, numeric) + at,
        lines.kinds[numeric] == VN,
        libraries,
        len(data),
        (0, 0),
    )


def _third_ends(lines: Lines, numeric: NDArray[np.int64]) -> NDArray[np.int64]:
    """Where the third number of each of these lines ends, or its last where it has fewer."""
    if not len(numeric):
        return np.zeros(0, dtype=np.int64)
    low, high = int(lines.starts[numeric[0]]), int(lines.ends[numeric[-1]])
    begin, end = tokens(lines.data[low : high + 1])
    first = np.searchsorted(begin, lines.starts[numeric] - low)
    following = np.append(first[1:], len(begin))
    return end[np.minimum(first + 3, following - 1)] + low


class Source:
    """An open text of which several threads read pieces."""

    def __init__(self, file: IO[bytes], path: Path) -> None:
        self._file, self._path, self._turn = file, path, Lock()

    def piece(self, low: int, high: int) -> Bytes:
        """The bytes [low, high). Raises MoueError where they are no longer there."""
        with self._turn:
            self._file.seek(low)
            data = self._file.read(high - low)
        if len(data) < high - low:
            raise MoueError("has become shorter while it was read", self._path)
        return np.frombuffer(data, dtype=np.uint8)


@contextmanager
def open_source(path: Path, stamp: Stamp) -> Iterator[Source]:
    """The text, opened to read pieces of it. Raises MoueError where the file is gone or has changed since the scan."""
    with open_regular(path) as file:
        status = os.fstat(file.fileno())
        if (status.st_size, status.st_mtime_ns) != stamp:
            raise MoueError("has changed since it was opened", path, hint="open the library again")
        yield Source(io.BufferedReader(file), path)
