"""The rows of a PLY file as columns: text or binary, every element in turn."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.obj_numbers import BadNumber, decimals, tokens

Bytes = NDArray[np.uint8]


@dataclass
class Element:
    """One element of the header: its name, its number of rows, and (name, type, type of the count or None) for each
    property.
    """

    name: str
    count: int
    properties: list[tuple[str, str, str | None]] = field(default_factory=list)


@dataclass
class Table:
    """The rows of an element: plain columns (r,), and lists as (counts (r,), all values one after the other)."""

    columns: dict[str, NDArray]
    lists: dict[str, tuple[NDArray[np.int64], NDArray]]


def read_binary(body: Bytes, elements: list[Element], path: Path, order: str, _lines: int) -> dict[str, Table]:
    """Every element's table, from bytes in `order` "<" or ">". Raises MoueError where they end too early."""
    out, at = {}, 0
    for element in elements:
        plain = all(count is None for _, _, count in element.properties)
        if plain:
            kind = np.dtype([(name, order + form) for name, form, _ in element.properties])
            size = kind.itemsize * element.count
            _enough(len(body) - at, size, element, path)
            rows = (
                body[at : at + size].view(kind) if size else np.zeros(element.count if not kind.itemsize else 0, kind)
            )
            out[element.name] = Table({name: rows[name] for name, _, _ in element.properties}, {})
            at += size
        else:
            out[element.name], at = _rows_with_lists(body, at, element, path, order)
    return out


def _enough(available: int, wanted: int, element: Element, path: Path) -> None:
    if available < wanted:
        raise MoueError(f"ends before its {element.count} {element.name} rows do", path, hint="the file is cut short")


def _rows_with_lists(body: Bytes, at: int, element: Element, path: Path, order: str) -> tuple[Table, int]:
    """Rows of different lengths, read in runs in which every list has the same length as in the run's first row."""
    least = sum(np.dtype(count or form).itemsize for _, form, count in element.properties)
    _enough(len(body) - at, least * element.count, element, path)
    done, run = 0, 1
    blocks: list[NDArray] = []
    while done < element.count:
        kind = _row_kind(body, at, element, path, order)
        room = (len(body) - at) // kind.itemsize
        if not room:
            _enough(0, 1, element, path)
        rows = body[at : at + kind.itemsize * min(run, room, element.count - done)].view(kind)
        same = np.ones(len(rows), dtype=bool)
        for name, _, count in element.properties:
            if count is not None:
                same &= rows["n " + name] == rows["n " + name][0]
        good = len(rows) if same.all() else int(np.argmin(same))
        blocks.append(rows[:good])
        done += good
        at += good * kind.itemsize
        run = run * 4 if good == len(rows) else max(good, 1)
    columns: dict[str, NDArray] = {}
    lists: dict[str, tuple[NDArray[np.int64], NDArray]] = {}
    for name, form, count in element.properties:
        if count is None:
            columns[name] = np.concatenate([block[name] for block in blocks]) if blocks else np.zeros(0, form)
            continue
        counts = [block["n " + name].astype(np.int64) for block in blocks]
        values = [
            block[name].reshape(-1) if name in (block.dtype.names or ()) else np.zeros(0, form) for block in blocks
        ]
        lists[name] = (
            np.concatenate(counts) if blocks else np.zeros(0, np.int64),
            np.concatenate(values) if blocks else np.zeros(0, form),
        )
    return Table(columns, lists), at


def _row_kind(body: Bytes, at: int, element: Element, path: Path, order: str) -> np.dtype:
    """The layout of the row that begins at `at`."""
    fields: list[tuple] = []
    place = at
    for name, form, count in element.properties:
        if count is None:
            fields.append((name, order + form))
            place += np.dtype(form).itemsize
            continue
        size = np.dtype(count).itemsize
        if place + size > len(body):
            _enough(0, 1, element, path)
        number = int(body[place : place + size].view(order + count)[0])
        if number < 0 or number * np.dtype(form).itemsize > len(body) - place:
            raise MoueError(f"a list of {number} values in its {element.name} rows does not fit the file", path)
        fields.append(("n " + name, order + count))
        if number:
            fields.append((name, order + form, (number,)))
        place += size + number * np.dtype(form).itemsize
    return np.dtype(fields)


def read_ascii(body: Bytes, elements: list[Element], path: Path, _order: str, lines: int) -> dict[str, Table]:
    """Every element's table, from text that begins after `lines` lines. Raises MoueError with the line."""
    body = np.concatenate([body, np.array([10], dtype=np.uint8)])
    filled = np.flatnonzero(body > 32)
    if not len(filled):
        begin = end = np.zeros(0, dtype=np.intp)
    else:
        body = body[filled[0] :]
        skipped = int(filled[0])
        begin, end = tokens(body)
    out, at = {}, 0

    def numbers(low: int, high: int) -> NDArray[np.float64]:
        try:
            return decimals(body, begin[low:high], end[low:high])
        except BadNumber as bad:
            before = int(np.count_nonzero(body[: begin[low + bad.token]] == 10)) + (1 if skipped else 0)
            raise MoueError(f"{bad.text!r} is not a number", path, lines + before + 1) from None

    for element in elements:
        _enough(len(begin) - at, len(element.properties) * element.count, element, path)
        if all(count is None for _, _, count in element.properties):
            width = len(element.properties)
            block = numbers(at, at + width * element.count).reshape(element.count, width)
            at += width * element.count
            out[element.name] = Table(
                {name: _as(block[:, i], form) for i, (name, form, _) in enumerate(element.properties)}, {}
            )
        else:
            out[element.name], at = _ascii_lists(numbers, at, len(begin), element, path)
    return out


def _as(column: NDArray[np.float64], form: str) -> NDArray:
    """The column in float64, or in int64 where the file's type is whole: 255 is then full for a colour."""
    if form[0] == "f":
        return column
    return np.where(np.isfinite(column), np.clip(column, -(2.0**53), 2.0**53), -1).astype(np.int64)


def _ascii_lists(  # type: ignore[no-untyped-def]
    numbers, at: int, stop: int, element: Element, path: Path
) -> tuple[Table, int]:
    """Rows with lists: the rest of the file is read, then divided into runs of rows of the same length."""
    values = numbers(at, stop)
    columns: dict[str, list[NDArray]] = {name: [] for name, _, count in element.properties if count is None}
    counts: dict[str, list[NDArray]] = {name: [] for name, _, count in element.properties if count is not None}
    lists: dict[str, list[NDArray]] = {name: [] for name in counts}
    done, place, run = 0, 0, 1
    while done < element.count:
        offset, shape = place, []
        for _name, _form, count in element.properties:
            if offset >= len(values):
                _enough(0, 1, element, path)
            length = 1
            if count is not None:
                if not 0 <= values[offset] <= len(values) - offset:
                    raise MoueError(f"a list of {values[offset]:.6g} values does not fit the file", path)
                length = int(values[offset]) + 1
            shape.append((offset - place, length))
            offset += length
        width = offset - place
        room = (len(values) - place) // width
        if not room:
            _enough(0, 1, element, path)
        block = values[place : place + width * min(run, room, element.count - done)].reshape(-1, width)
        same = np.ones(len(block), dtype=bool)
        for (first, _), (_, _, count) in zip(shape, element.properties, strict=True):
            if count is not None:
                same &= block[:, first] == block[0, first]
        good = len(block) if same.all() else int(np.argmin(same))
        for (first, length), (name, _, count) in zip(shape, element.properties, strict=True):
            if count is None:
                columns[name].append(block[:good, first])
            else:
                counts[name].append(block[:good, first])
                lists[name].append(block[:good, first + 1 : first + length].reshape(-1))
        done += good
        place += good * width
        run = run * 4 if good == len(block) else max(good, 1)
    form_of = {name: form for name, form, _ in element.properties}

    def joined(pieces: list[NDArray], form: str) -> NDArray:
        return _as(np.concatenate(pieces) if pieces else np.zeros(0), form)

    return Table(
        {name: joined(pieces, form_of[name]) for name, pieces in columns.items()},
        {name: (joined(counts[name], "i4"), joined(lists[name], form_of[name])) for name in lists},
    ), at + place
