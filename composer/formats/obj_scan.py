"""An OBJ text as arrays: vertices, texture coordinates, normals, polygons. Chunks of it are read in parallel."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.limits import check_positions
from composer.formats.obj_lines import VN, VT, F, Lines, V, gathered
from composer.formats.obj_numbers import BadNumber, Bytes, decimals, integers, tokens

CHUNK_LINES, CHUNK_BYTES = 1 << 15, 1 << 23
MOST_LINE = 1 << 25
"""The longest line in characters: a polygon of some four million corners (our choice)."""
A = TypeVar("A")
B = TypeVar("B")

WORKERS = max(1, min(4, os.cpu_count() or 1))


@dataclass(frozen=True, eq=False)
class Corners:
    """Polygons of a file: `counts` (f,), and 0-based vertex, texture and normal indices (k,), -1 for none."""

    counts: NDArray[np.int32]
    vertices: NDArray[np.int32]
    texture: NDArray[np.int32] | None
    normals: NDArray[np.int32] | None


def scan_vertices(
    lines: Lines, path: Path, some: NDArray[np.bool_] | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64] | None]:
    """Positions (n, 3) float64 in the file's unit, and colours (n, 3) where every vertex has them; of `some` of all
    vertices alone where these are flagged.

    Raises MoueError with the line where a vertex is not three numbers, not finite or absurdly far.
    """
    chosen = lines.of_kind(V) if some is None else lines.of_kind(V)[some]
    numbers = scan_numbers(lines, chosen, path, "vertex", (3, 6, 7))
    positions = numbers if numbers.shape[1] == 3 else np.ascontiguousarray(numbers[:, :3])
    check_positions(positions, path, lambda vertex: lines.number(int(chosen[vertex]), path))
    if numbers.shape[1] == 3:
        return positions, None
    colours = np.ascontiguousarray(numbers[:, -3:])
    return positions, colours if np.isfinite(colours).all() else None


def scan_texture(lines: Lines, path: Path) -> NDArray[np.float64]:
    """Texture coordinates (m, 2) float64. Raises MoueError with the line where one is not numbers."""
    chosen = lines.of_kind(VT)
    return scan_numbers(lines, chosen, path, "texture coordinate", (1, 2), pad=2)


def scan_numbers(
    lines: Lines, chosen: NDArray[np.int64], path: Path, what: str, widths: tuple[int, ...], pad: int = 0
) -> NDArray[np.float64]:
    """The numbers of the `chosen` lines, (m, w) float64, w the largest of `widths` that every line has.

    Raises MoueError naming the line that has fewer numbers than the smallest width, or a token that is not a number.
    """
    if not len(chosen):
        return np.zeros((0, max(pad, widths[0])))
    _check_lengths(lines, chosen, path)
    data, starts, ends = gathered(lines, chosen)
    spans = list(_spans(starts, ends))

    def one(span: tuple[int, int]) -> NDArray[np.float64]:
        lo, hi = span
        chunk = _uncommented(data[starts[lo] : ends[hi - 1] + 1])
        first, begin, end = _by_line(chunk, starts[lo:hi] - starts[lo])
        have = np.diff(first, append=len(begin)) - 1
        least = int(have.min())
        if least < widths[0]:
            line = lines.number(int(chosen[lo + int(np.argmin(have))]), path)
            raise MoueError(f"a {what} of {least} numbers", path, line, hint=f"it has {widths[0]}")
        width = max(w for w in widths if w <= least)
        if width == least == int(have.max()):
            begin, end = (
                begin.reshape(-1, width + 1)[:, 1:].ravel(),
                end.reshape(-1, width + 1)[:, 1:].ravel(),
            )
        else:
            wanted = (first[:, None] + np.arange(1, width + 1)).ravel()
            begin, end = begin[wanted], end[wanted]
        try:
            return decimals(chunk, begin, end).reshape(-1, width)
        except BadNumber as bad:
            line = lines.number(int(chosen[lo + bad.token // width]), path)
            raise MoueError(f"{bad.text!r} is not a number", path, line) from None

    pieces = _in_parallel(one, spans)
    width = min(piece.shape[1] for piece in pieces)
    out = np.zeros((len(chosen), max(width, pad)))
    for (lo, hi), piece in zip(spans, pieces, strict=True):
        out[lo:hi, :width] = piece[:, :width]
    return out


def scan_corners(lines: Lines, path: Path, normals: bool = False) -> Corners:
    """The polygons of an OBJ, any size, negative indices resolved; normal indices only where asked for.

    Raises MoueError with the line where a polygon has fewer than three corners or an index that is not there.
    """
    chosen = lines.of_kind(F)
    if not len(chosen):
        empty = np.zeros(0, dtype=np.int32)
        return Corners(empty, empty, None, None)
    _check_lengths(lines, chosen, path)
    data, starts, ends = gathered(lines, chosen)

    def one(span: tuple[int, int]) -> list[NDArray[np.int32] | None]:
        lo, hi = span
        chunk = _uncommented(data[starts[lo] : ends[hi - 1] + 1])
        try:
            return _corners_of(chunk, starts[lo:hi] - starts[lo], normals)
        except BadNumber as bad:
            line = lines.number(int(chosen[lo + bad.token]), path)
            raise MoueError(f"{bad.text!r} is not the number of a vertex", path, line) from None

    pieces = _in_parallel(one, list(_spans(starts, ends)))
    counts = np.concatenate([piece[0] for piece in pieces])
    if int(counts.min()) < 3:
        face = int(np.argmin(counts))
        line = lines.number(int(chosen[face]), path)
        raise MoueError(f"a polygon of {counts[face]} corners", path, line, hint="three are the least")
    columns: list[NDArray[np.int32] | None] = []
    for column, kind, what in ((1, V, "vertex"), (2, VT, "texture coordinate"), (3, VN, "normal")):
        parts = [piece[column] for piece in pieces]
        if all(part is None for part in parts):
            columns.append(None)
            continue
        sizes = [len(piece[1]) for piece in pieces]  # type: ignore[arg-type]
        filled = [np.zeros(s, np.int32) if part is None else part for s, part in zip(sizes, parts, strict=True)]
        indices = filled[0] if len(filled) == 1 else np.concatenate(filled)
        columns.append(_resolved(indices, counts, lines, chosen, kind, what, path))
    vertices = columns[0] if columns[0] is not None else np.zeros(0, np.int32)
    return Corners(counts, vertices, columns[1], columns[2])


def _corners_of(chunk: Bytes, line_starts: NDArray[np.int64], normals: bool) -> list[NDArray[np.int32] | None]:
    """counts and, as written, vertex, texture and normal indices, 0 for none; BadNumber.token is the line."""
    begin, end = tokens(chunk, slash=True)
    key = np.zeros(len(begin), dtype=bool)
    key[np.searchsorted(begin, line_starts)] = True
    begin, end = begin[~key], end[~key]
    slashed = (chunk == 47).any()
    after_slash = chunk[begin - 1] == 47 if slashed else None
    heads = begin if after_slash is None else begin[~after_slash]
    corners_at = np.searchsorted(heads, line_starts)
    counts = np.diff(corners_at, append=len(heads)).astype(np.int32)

    def numbers(which: NDArray[np.bool_] | slice) -> NDArray[np.int32]:
        try:
            value = integers(chunk, begin[which], end[which])
        except BadNumber as bad:
            at = begin[which][bad.token]
            line = int(np.searchsorted(line_starts, at, side="right")) - 1
            raise BadNumber(line, bad.text) from None
        return np.clip(value, -(2**31 - 1), 2**31 - 1).astype(np.int32)

    if after_slash is None:
        return [counts, numbers(slice(None)), None, None]
    if len(begin) and bool(after_slash[0]):
        raise BadNumber(0, "/")
    twice = after_slash & (chunk[np.maximum(begin - 2, 0)] == 47)
    third = twice.copy()
    third[1:] |= after_slash[1:] & after_slash[:-1]
    second = after_slash & ~third
    corner = np.cumsum(~after_slash) - 1
    out: list[NDArray[np.int32] | None] = [counts, numbers(~after_slash)]
    for which, wanted in ((second, True), (third, normals)):
        if not wanted or not which.any():
            out.append(None)
            continue
        column = np.zeros(len(heads), dtype=np.int32)
        column[corner[which]] = numbers(which)
        out.append(column)
    return out


def _resolved(
    indices: NDArray[np.int32],
    counts: NDArray[np.int32],
    lines: Lines,
    chosen: NDArray[np.int64],
    kind: int,
    what: str,
    path: Path,
) -> NDArray[np.int32]:
    """0-based indices, -1 for none, from what stands in the file: 1-based, or negative and counted back."""
    count = int(np.count_nonzero(lines.kinds == kind))
    lowest, highest = int(indices.min(initial=1)), int(indices.max(initial=0))
    bad = np.zeros(0, dtype=np.intp)
    written = indices
    if lowest < 0:
        so_far = np.cumsum(lines.kinds == kind)[chosen]
        behind = np.repeat(so_far, counts)
        indices = np.where(indices < 0, indices + behind + 1, indices).astype(np.int64)
        bad = np.flatnonzero((written < 0) & (indices < 1))
    if highest > count or len(bad) or (kind == V and lowest <= 0):
        wrong = (indices > count) | ((written < 0) & (indices < 1)) | ((written == 0) & (kind == V))
        if wrong.any():
            corner = int(np.argmax(wrong))
            face = int(np.searchsorted(np.cumsum(counts), corner, side="right"))
            line = lines.number(int(chosen[face]), path)
            raise MoueError(f"a polygon uses {what} {written[corner]} of {count}", path, line)
    result: NDArray[np.int32] = np.subtract(indices, 1).astype(np.int32, copy=False)
    return result


def _check_lengths(lines: Lines, chosen: NDArray[np.int64], path: Path) -> None:
    """Raises MoueError for a line that is longer than any polygon's: its words alone would take gigabytes."""
    lengths = lines.ends[chosen] - lines.starts[chosen]
    longest = int(np.argmax(lengths))
    if int(lengths[longest]) > MOST_LINE:
        what = f"a line of {int(lengths[longest]) // 10**6} million characters"
        raise MoueError(what, path, lines.number(int(chosen[longest]), path), hint="is the file damaged?")


def _spans(starts: NDArray[np.int64], ends: NDArray[np.int64]) -> Iterator[tuple[int, int]]:
    """Runs of at most CHUNK_LINES lines, and of about CHUNK_BYTES bytes where lines are long."""
    count, low = len(starts), 0
    while low < count:
        high = min(count, low + CHUNK_LINES)
        if int(ends[high - 1] - starts[low]) > CHUNK_BYTES:
            high = max(low + 1, int(np.searchsorted(ends[low:high], starts[low] + CHUNK_BYTES)) + low)
        yield low, high
        low = high


def _in_parallel(work: Callable[[A], B], items: list[A]) -> list[B]:
    if len(items) < 2 or WORKERS == 1:
        return [work(item) for item in items]
    with ThreadPoolExecutor(WORKERS) as pool:
        return list(pool.map(work, items))


def _by_line(
    chunk: Bytes, line_starts: NDArray[np.int64]
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    begin, end = tokens(chunk)
    each, rest = divmod(len(begin), len(line_starts))
    if not rest and bool(np.all(begin[::each] == line_starts)):
        return np.arange(0, len(begin), each), begin, end
    return np.searchsorted(begin, line_starts), begin, end


def _uncommented(chunk: Bytes) -> Bytes:
    """The chunk with what follows a `#` blanked, line by line; itself where there is none."""
    if not (chunk == 35).any():
        return chunk
    rows = chunk.tobytes().split(b"\n")
    cut = [row.split(b"#", 1)[0].ljust(len(row)) for row in rows]
    return np.frombuffer(b"\n".join(cut), dtype=np.uint8)
