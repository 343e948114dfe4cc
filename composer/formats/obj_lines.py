"""The lines of an OBJ text by kind, found in one pass over its bytes.

Lines may end in LF, CRLF or CR, be indented, be continued by a backslash, and hold comments anywhere. The backslash and
the line end of a continued line become blanks, so that offsets are those of the file.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.obj_numbers import Bytes
from composer.head.reading import open_regular, reading

OTHER, V, VT, VN, F, NOTHING = range(6)
PADDING = 16


def read_raw(path: Path, padding: int = 0) -> Bytes:
    """All bytes of a file, followed by `padding` line feeds. Raises MoueError where it cannot be read or is empty."""
    with reading(path), open_regular(path) as file:
        size = os.fstat(file.fileno()).st_size
        data = np.empty(size + padding, dtype=np.uint8)
        view = memoryview(data)[:size]
        got = 0
        while got < size:
            more = file.readinto(view[got:])
            if not more:
                break
            got += more
    if not got:
        raise MoueError("is empty", path)
    data[got:] = 10
    return data[: got + padding]


def read_bytes(path: Path) -> Bytes:
    """The text of a file, followed by line feeds. Raises MoueError where it cannot be read, is empty or not text."""
    data = read_raw(path, PADDING)
    if not data.all():
        raise MoueError("is not text but binary", path, hint="is it an OBJ file?")
    return data


@dataclass(frozen=True, eq=False)
class Lines:
    """The lines of a text: where each begins (blanks skipped) and ends (at its line feed), and its kind."""

    data: Bytes
    starts: NDArray[np.int64]
    ends: NDArray[np.int64]
    kinds: NDArray[np.uint8]
    continued: bool
    """Whether some lines were joined: then a line's place in `starts` is not its number in the file."""

    def of_kind(self, kind: int) -> NDArray[np.int64]:
        """Which lines are of one kind, in order."""
        return np.flatnonzero(self.kinds == kind)

    def text(self, line: int) -> str:
        """The words of one line."""
        return self.data[self.starts[line] : self.ends[line]].tobytes().decode("utf-8", "replace").strip()

    def number(self, line: int, path: Path) -> int:
        """The line's number in its file, from 1."""
        if not self.continued:
            return int(line) + 1
        before = read_bytes(path)[: self.starts[line]]
        ends = int(np.count_nonzero(before == 10))
        return 1 + (ends or int(np.count_nonzero(before == 13)))


def find_lines(data: Bytes) -> Lines:
    """The lines of `data`, bytes that end in a line feed; changes continued and CR-ended lines in place."""
    continued = _join_continued(data)
    ends = np.flatnonzero(data == 10)
    if len(ends) <= PADDING and (data == 13).any():
        data[data == 13] = 10
        ends = np.flatnonzero(data == 10)
    starts = np.empty_like(ends)
    starts[0] = 0
    np.add(ends[:-1], 1, out=starts[1:])
    last = len(data) - 1
    first = data[starts]
    indented = np.flatnonzero((first == 32) | (first == 9))
    for line in indented:
        text = data[starts[line] : ends[line]].tobytes()
        starts[line] += len(text) - len(text.lstrip(b" \t"))
    if len(indented):
        first = data[starts]
    second, third = data[np.minimum(starts + 1, last)], data[np.minimum(starts + 2, last)]
    kinds = np.zeros(len(starts), dtype=np.uint8)
    kinds[(first <= 32) | (first == 35)] = NOTHING
    vertexlike = first == 118
    kinds[vertexlike & (second <= 32)] = V
    kinds[vertexlike & (second == 116) & (third <= 32)] = VT
    kinds[vertexlike & (second == 110) & (third <= 32)] = VN
    kinds[(first == 102) & (second <= 32)] = F
    kinds[(first == 115) & (second <= 32)] = NOTHING
    return Lines(data, starts, ends, kinds, continued)


def _join_continued(data: Bytes) -> bool:
    slashes = np.flatnonzero(data == 92)
    after = data[np.minimum(slashes + 1, len(data) - 1)]
    later = data[np.minimum(slashes + 2, len(data) - 1)]
    lf, cr = slashes[after == 10], slashes[after == 13]
    crlf = slashes[(after == 13) & (later == 10)]
    lf = lf[lf + 1 < len(data) - 1]
    for at, width in ((lf, 2), (cr, 2), (crlf, 3)):
        for step in range(width):
            data[at + step] = 32
    data[-1] = 10
    return bool(len(lf) or len(cr))


def gathered(lines: Lines, chosen: NDArray[np.int64]) -> tuple[Bytes, NDArray[np.int64], NDArray[np.int64]]:
    """The text of `chosen` lines one after the other, and where each begins and ends in it.

    A copy only where they do not already follow each other in the file.
    """
    starts, ends = lines.starts[chosen], lines.ends[chosen]
    low, high = int(starts[0]), int(ends[-1]) + 1
    if bool(np.all(starts[1:] == ends[:-1] + 1)):
        return lines.data[low:high], starts - low, ends - low
    lengths = ends - starts + 1
    first = np.zeros(len(lengths), dtype=np.int64)
    np.cumsum(lengths[:-1], out=first[1:])
    # Bytes of the chosen lines, by one mask over the stretch of file that holds them.
    turns = np.zeros(high - low + 1, dtype=np.int8)
    turns[starts - low] += 1
    turns[ends + 1 - low] -= 1
    inside = np.cumsum(turns[:-1], dtype=np.int8).view(bool)
    return lines.data[low:high][inside], first, first + lengths - 1
