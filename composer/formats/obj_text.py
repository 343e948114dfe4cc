"""A target as its neutral's own OBJ text with other `v` lines.

All else in the text stays byte for byte: comments, groups, smoothing, materials, line ends, and anything after the
three numbers of a vertex. A vertex that does not move keeps its line. Two things follow the vertices:

- Normals (`vn`): where one of the polygons that use it moves, a normal becomes the area-weighted mean of these polygons
  (so hard edges stay hard). The others keep their lines.
- `mtllib` names become relative to the folder of the written file.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property
from itertools import islice
from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.obj_digits import Tables, decimals_for, rows_and_lengths, rows_of, word
from composer.formats.obj_lines import VN, find_lines, read_bytes
from composer.formats.obj_normals import corner_normals
from composer.formats.obj_places import Source, find_places, open_source
from composer.formats.obj_scan import WORKERS, Corners, scan_corners, scan_numbers
from composer.head.atomic import write_whole

ROWS = 1 << 15
PIECE = 1 << 22


class ObjText:
    """The text of a neutral with the offsets of its numbers, found in one pass; `write` writes targets from it.

    `positions` (n, 3) float64 are the neutral's, in the file's unit. The text itself stays on disk and is read
    again, piece by piece, whenever a target is written.
    """

    def __init__(self, path: Path | str) -> None:
        """Scan the text of `path`. Raises MoueError where it is not a usable OBJ."""
        self.path = Path(path)
        places = find_places(self.path)
        self.positions, self._starts, self._stops = places.positions, places.starts, places.stops
        self._is_normal, self._library_places = places.is_normal, places.libraries
        self._size, self._stamp = places.size, places.stamp

    @cached_property
    def diagonal(self) -> float:
        """The neutral's bounding-box diagonal, in the file's unit."""
        sides = [float(np.ptp(column)) for column in self.positions.T]
        return float(np.linalg.norm(sides))

    @cached_property
    def _normal_table(self) -> tuple[Corners, NDArray[np.float64]]:
        """The polygons with the numbers of their normals, and the normals of the file; read only when needed."""
        lines = find_lines(read_bytes(self.path))
        normals = scan_numbers(lines, lines.of_kind(VN), self.path, "normal", (3,))
        return scan_corners(lines, self.path, normals=True), normals

    def write(self, path: Path | str, positions: NDArray, moved: NDArray[np.bool_] | None = None) -> tuple[str, ...]:
        """Write the text to `path` with `positions` (n, 3), in the file's unit, in place of the neutral's.

        `moved` (n,) flags the vertices that get a new line; by default those whose position differs from the neutral's.
        New numbers keep 1e-7 of the head's size. Returns notes on normals and material files. Raises MoueError where
        the count differs or the file cannot be written.
        """
        path = Path(path)
        if positions.shape != self.positions.shape:
            raise MoueError(f"{len(positions)} vertices for a text of {len(self.positions)}", self.path)
        positions = np.asarray(positions)
        notes: list[str] = []
        normals, renewed = self._normals(positions, moved, notes)
        libraries = self._rewritten(path, notes)
        with open_source(self.path, self._stamp) as source:
            rows = _Rows(self, source, positions, moved, normals, renewed)
            write_whole(path, lambda file: self._fill(file, rows, libraries), sync=False)
        return tuple(notes)

    def _normals(
        self, positions: NDArray, moved: NDArray[np.bool_] | None, notes: list[str]
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """The normals of the target, and which of them are new."""
        if not self._is_normal.any():
            return np.zeros((0, 3)), np.zeros(0, dtype=bool)
        corners, old = self._normal_table
        if corners.normals is None:
            return old, np.zeros(len(old), dtype=bool)
        if moved is None:
            moved = any_differs(positions, self.positions)
        new, renewed = corner_normals(corners.counts, corners.vertices, corners.normals, positions, moved, len(old))
        renewed &= np.any(new != 0, axis=1)
        if renewed.any():
            notes.append(f"{int(renewed.sum())} normals were computed from the moved polygons.")
        return np.where(renewed[:, None], new, old), renewed

    def _rewritten(self, path: Path, notes: list[str]) -> list[tuple[int, int, bytes]]:
        """The `mtllib` lines, as (begin, end, new text), their files named from the folder of `path`."""
        out = []
        old_folder, new_folder = self.path.parent.resolve(), path.parent.resolve()
        for begin, line in self._library_places:
            end = begin + len(line)
            ending = line[len(line.rstrip(b"\r")) :]
            names = material_names(line.decode("utf-8", "surrogateescape").rstrip(), self.path)
            same = old_folder == new_folder
            if same or not names or any(not (old_folder / name).exists() for name in names):
                out.append((begin, end, line))
                continue
            moved = [_relative(old_folder / name, new_folder) for name in names]
            notes.append(f"Paths of material files are relative to the new folder: {', '.join(moved)}.")
            out.append((begin, end, ("mtllib " + " ".join(moved)).encode("utf-8", "surrogateescape") + ending))
        return out

    def _fill(self, file: IO[bytes], rows: _Rows, libraries: list[tuple[int, int, bytes]]) -> None:
        at = 0
        for begin, end, text in [*libraries, (self._size, self._size, b"")]:
            self._copy(file, rows, at, begin)
            file.write(text)
            at = end

    def _copy(self, file: IO[bytes], rows: _Rows, low: int, high: int) -> None:
        """The bytes [low, high) of the text with the new rows in them."""
        first, last = (int(np.searchsorted(self._starts, self._starts.dtype.type(p))) for p in (low, high))
        if first == last:
            rows.copy(file, low, high)
            return
        rows.copy(file, low, int(self._starts[first]))
        spans = [(a, min(a + ROWS, last)) for a in range(first, last, ROWS)]
        pieces = _ahead(lambda span: rows.text(span[0], span[1], high), spans)
        for (_, stop), piece in zip(spans, pieces, strict=True):
            file.write(piece)
            following = int(self._starts[stop]) if stop < last else high
            rows.copy(file, rows.end(stop, high), following)


def material_names(line: str, path: Path) -> list[str]:
    """The files that a `mtllib` line names: one where a file of the whole text exists, otherwise several."""
    rest = line.removeprefix("mtllib").strip()
    return [rest] if rest and (path.parent / rest).exists() else rest.split()


def _relative(target: Path, folder: Path) -> str:
    try:
        return Path(os.path.relpath(target, folder)).as_posix()
    except ValueError:  # another drive
        return target.as_posix()


def any_differs(a: NDArray, b: NDArray) -> NDArray[np.bool_]:
    """(m,) whether any of the three numbers of a row of `a` is not that of `b`."""
    differs = a != b
    return differs[:, 0] | differs[:, 1] | differs[:, 2]


class _Rows:
    """The new text of runs of `v` and `vn` lines, with the text between them."""

    def __init__(
        self,
        text: ObjText,
        source: Source,
        positions: NDArray,
        moved: NDArray[np.bool_] | None,
        normals: NDArray[np.float64],
        renewed: NDArray[np.bool_],
    ) -> None:
        self.text_of, self.source, self.positions = text, source, positions
        self.moved, self.normals, self.renewed = moved, normals, renewed
        farthest = max(float(positions.max()), -float(positions.min()))
        self.tables = Tables(decimals_for(text.diagonal, farthest))
        self.mixed = bool(text._is_normal.any())
        if self.mixed:
            self.number = np.where(text._is_normal, np.cumsum(text._is_normal), np.cumsum(~text._is_normal)) - 1

    def read(self, low: int, high: int) -> NDArray[np.uint8]:
        """The bytes [low, high) of the neutral's text."""
        return self.source.piece(low, high)

    def copy(self, file: IO[bytes], low: int, high: int) -> None:
        """Put the bytes [low, high) of the neutral's text into `file`."""
        for begin in range(low, high, PIECE):
            file.write(self.read(begin, min(begin + PIECE, high)))

    def _moved(self, which: slice | NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which of these vertices get a new line."""
        if self.moved is not None:
            return self.moved[which]
        return any_differs(self.positions[which], self.text_of.positions[which])

    def _of(self, low: int, high: int) -> tuple[NDArray[np.bool_], NDArray[np.float64], NDArray[np.uint32] | int]:
        """Which of the lines [low, high) are new, the numbers of those, and their key."""
        if not self.mixed:
            new = self._moved(slice(low, high))
            return new, np.asarray(self.positions[low:high][new], dtype=np.float64), word("v")
        normal, number = self.text_of._is_normal[low:high], self.number[low:high]
        new = np.empty(high - low, dtype=bool)
        new[normal], new[~normal] = self.renewed[number[normal]], self._moved(number[~normal])
        values = np.empty((high - low, 3))
        values[normal], values[~normal] = self.normals[number[normal]], self.positions[number[~normal]]
        return new, values[new], np.where(normal[new], np.uint32(word("vn")), np.uint32(word("v")))

    def end(self, stop: int, limit: int) -> int:
        """The end of the text of lines up to `stop`: where the next line begins, or `limit` if that is near."""
        text_of = self.text_of
        following = min(int(text_of._starts[stop]), limit) if stop < len(text_of._starts) else limit
        last = int(text_of._stops[stop - 1])
        return following if following - last <= PIECE else last

    def text(self, low: int, high: int, limit: int) -> NDArray[np.uint8]:
        """The bytes from where line `low` begins to the `end` of line `high`, with the new numbers in them."""
        text_of = self.text_of
        begin, end = int(text_of._starts[low]), self.end(high, limit)
        new, values, key = self._of(low, high)
        if not new.any():
            return self.read(begin, end)
        words: list = [key]
        for column in range(3):
            words += self.tables.columns(values[:, column])
        starts = text_of._starts[low:high].astype(np.int64) - begin
        stops = text_of._stops[low:high].astype(np.int64) - begin
        after = np.append(starts[1:], end - begin)
        if len(values) == len(new) and bool(np.all(after - stops == 1)):  # every line is new and ends at once
            return rows_of([*words, word("\n")], len(values))
        source = self.read(begin, end)
        heads, head_lengths = rows_and_lengths(words, len(values))
        parts = np.stack([stops - starts, after - stops], axis=1)
        keep = np.ones((len(new), 2), dtype=bool)
        keep[new, 0] = False
        tails = source[np.repeat(keep.ravel(), parts.ravel())]
        parts[new, 0] = head_lengths
        is_head = np.repeat(~keep.ravel(), parts.ravel())
        out = np.empty(len(is_head), dtype=np.uint8)
        out[is_head] = heads
        out[~is_head] = tails
        return out


def _ahead(work, spans: list[tuple[int, int]]) -> Iterator[NDArray[np.uint8]]:  # type: ignore[no-untyped-def]
    """The results of `work` in order, a few of them computed ahead on other threads."""
    if len(spans) < 2 or WORKERS == 1:
        yield from map(work, spans)
        return
    with ThreadPoolExecutor(WORKERS) as pool:
        coming = iter(spans)
        waiting = [pool.submit(work, span) for span in islice(coming, WORKERS + 2)]
        while waiting:
            yield waiting.pop(0).result()
            waiting += [pool.submit(work, span) for span in islice(coming, 1)]
