"""Weights over time as CSV: a column `time` in seconds, and a column a weight.

The file is UTF-8, fields are separated by commas (RFC 4180) and numbers have a decimal point. The first row names the
columns. A column whose name ends in ` %` holds percent, the others fractions. Times rise; weights are straight between
them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, shorten
from composer.formats.csv_header import PERCENT, column_names
from composer.formats.weight_track import WeightTrack
from composer.head.reading import bytes_of

TIME = "time"
MOST_BYTES = 512 << 20
MOST_ROWS, MOST_COLUMNS = 1_000_000, 10_000
"""Safety limits."""


def weight_csv_text(times: NDArray, names: Sequence[str], values: NDArray) -> str:
    """Weights (f, c) of `names` at `times` (f,) s as text, which `read_weight_csv` reads back digit for digit."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow([TIME, *names])
    for time, row in zip(times.tolist(), values.tolist(), strict=True):
        writer.writerow([repr(time), *(repr(value) if value else "0" for value in row)])
    return held.getvalue()


def read_weight_csv(path: Path) -> list[WeightTrack]:
    """The weights in a CSV file, in the order of its columns; all have the same times.

    Raises MoueError, with row (the header is row 1) and column, for a file that does not hold a number in every cell,
    times that do not rise, a column named twice, and a file that is too large.
    """
    data = bytes_of(path, MOST_BYTES, "weights over time")
    n_rows = data.count(b"\n")
    if n_rows > MOST_ROWS:
        raise MoueError(f"has {n_rows:,} rows, more than {MOST_ROWS:,}", path, hint="keep fewer rows a second")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise MoueError("is not a text in UTF-8", path, data.count(b"\n", 0, error.start) + 1) from None
    names = _header(text, path)
    values = _values(text, names, path)
    at = [name.lower() for name in names].index(TIME)
    times = values[:, at]
    _check_times(times, path, at)
    tracks = []
    for column, name in enumerate(names):
        if column != at:
            share = 0.01 if name.endswith(PERCENT) else 1.0
            where = f"column {column + 1}"
            tracks.append(WeightTrack(name.removesuffix(PERCENT), times, values[:, column] * share, column=where))
    return tracks


def _header(text: str, path: Path) -> list[str]:
    try:
        first = next(csv.reader(io.StringIO(text), strict=True), [])
    except csv.Error as error:
        raise MoueError(f"has a header that is no CSV ({error})", path, 1) from None
    names = list(column_names(first, path))
    if TIME not in [name.lower() for name in names]:
        said = ", ".join(names[:4]) or "nothing"
        raise MoueError(f"has no column {TIME!r}, in seconds", path, 1, hint=f"row 1 has {shorten(said, 60)}")
    if len(names) > MOST_COLUMNS:
        raise MoueError(f"has {len(names):,} columns, more than {MOST_COLUMNS:,}", path, 1)
    if len(names) == 1:
        raise MoueError("has no weights, only times", path, 1, hint="add a column a shape")
    return names


def _values(text: str, names: list[str], path: Path) -> NDArray[np.float64]:
    """(rows, columns) all numbers below the header."""
    body = text.split("\n", 1)[1] if "\n" in text else ""
    if not body.strip():
        raise MoueError("has a header and no rows", path, hint="add a row a time")
    try:
        found = np.loadtxt(io.StringIO(body), delimiter=",", comments=None, quotechar='"', ndmin=2)
        if found.shape[1] == len(names) and np.isfinite(found).all():
            return np.asarray(found, dtype=np.float64)
    except ValueError:
        pass
    raise _fault(body, names, path)


def _fault(body: str, names: list[str], path: Path) -> MoueError:
    """What is wrong in the first row that is no row of numbers."""
    rows = csv.reader(io.StringIO(body), strict=True)
    row = 1
    try:
        for fields in rows:
            row = rows.line_num + 1
            if not fields:
                continue
            if len(fields) != len(names):
                what = f"row {row} has {len(fields)} values, row 1 names {len(names)} columns"
                hint = "is a decimal comma among them? write 0.5" if len(fields) > len(names) else "write 0 for none"
                return MoueError(what, path, row, hint=hint)
            for column, field in enumerate(fields):
                words = number_fault(field.strip())
                if words is not None:
                    place = f"row {row}, column {column + 1} ({shorten(names[column], 40)})"
                    return MoueError(f"{place} {words[0]}", path, row, hint=words[1])
    except csv.Error as error:
        return MoueError(f"row {row + 1} is no row of a CSV ({error})", path, row + 1)
    return MoueError("does not hold a number in every cell", path)


def number_fault(field: str) -> tuple[str, str] | None:
    """What is wrong with a field, and what to do; None where it is a number."""
    if not field:
        return "is empty", "write a number; 0 is no weight"
    try:
        if np.isfinite(float(field)) and "_" not in field:
            return None
    except ValueError:
        pass
    shown = shorten(repr(field), 40)
    if field.replace(",", "").replace(".", "").replace("-", "").isdigit():
        return f"is {shown}, with another decimal sign", "write 0.5, with a point"
    return f"is {shown}, which is no number", "write a number as 0.5"


def _check_times(times: NDArray, path: Path, column: int) -> None:
    back = np.flatnonzero(np.diff(times) <= 0.0)
    if len(back):
        row = int(back[0]) + 3
        what = f"row {row}, column {column + 1}: time {times[row - 2]:g} does not come after {times[row - 3]:g}"
        raise MoueError(what, path, row, hint="sort the rows by time")
