"""Tables as CSV that a spreadsheet opens: UTF-8, fields between commas (RFC 4180), numbers with a decimal point."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path

from composer.errors import MoueError, shorten
from composer.formats.csv_header import PERCENT, column_names
from composer.formats.weight_csv import number_fault
from composer.head.reading import bytes_of

MOST_BYTES = 256 << 20
MOST_FIELDS = 20_000_000
"""Safety limits."""


@dataclass(frozen=True)
class Table:
    """A table read from `path`: the names of its columns, and rows of as many texts, with the line of each."""

    path: Path
    names: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]

    def wrong(self, line: int, column: int, what: str, hint: str | None = None) -> MoueError:
        """An error about one field."""
        place = f"row {line}, column {column + 1} ({shorten(self.names[column], 40)})"
        return MoueError(f"{place} {what}", self.path, line, hint=hint)

    def number(self, line: int, column: int, field: str, low: float, high: float) -> float:
        """The number in a field, a hundredth where the column's name ends in ` %`. Raises MoueError for another text,
        or a number that is not in [low, high]."""
        fault = number_fault(field)
        if fault is not None:
            raise self.wrong(line, column, *fault)
        value = float(field) * (0.01 if self.names[column].endswith(PERCENT) else 1.0)
        if not (isfinite(value) and low <= value <= high):
            raise self.wrong(line, column, f"is {value:g}, not in [{low:g}, {high:g}]")
        return value


def read_table(path: Path) -> Table:
    """The table in a CSV file; empty rows are left out.

    Raises MoueError, with row (the header is row 1) and column, for a file that is no table, a column without a name or
    named twice, and a row of another length.
    """
    data = bytes_of(path, MOST_BYTES, "a table")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise MoueError("is not a text in UTF-8", path, data.count(b"\n", 0, error.start) + 1) from None
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: list[tuple[int, tuple[str, ...]]] = []
    names: tuple[str, ...] = ()
    try:
        for fields in reader:
            held = tuple(field.strip() for field in fields)
            if not names:
                names = column_names(held, path)
            elif any(held):
                if len(held) != len(names):
                    what = f"row {reader.line_num} has {len(held)} values, row 1 names {len(names)} columns"
                    raise MoueError(what, path, reader.line_num, hint="is a decimal comma among them? write 0.5")
                rows.append((reader.line_num, held))
                if len(rows) * len(names) > MOST_FIELDS:
                    raise MoueError(f"holds more than {MOST_FIELDS:,} fields", path)
    except csv.Error as error:
        raise MoueError(f"row {reader.line_num} is no row of a CSV ({error})", path, reader.line_num) from None
    if not names:
        raise MoueError("is empty", path)
    return Table(path, names, tuple(rows))


def table_text(names: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV text; numbers keep every digit (float's `repr`), None is an empty field."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([["" if value is None else value for value in row] for row in rows])
    return held.getvalue()
