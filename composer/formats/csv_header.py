"""The first row of a CSV: names of columns, each once; `NAME %` is a column of hundredths."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from composer.errors import MoueError, shorten

PERCENT = " %"
"""The end of a column's name whose numbers are percent."""


def column_names(fields: Sequence[str], path: Path) -> tuple[str, ...]:
    """The names in a first row's `fields`, without spaces about them.

    Raises MoueError for semicolons or tabs between columns, a column without a name, and a name that stands twice.
    """
    names = tuple(field.strip() for field in fields)
    if len(names) == 1 and any(mark in names[0] for mark in ";\t"):
        mark = "semicolons" if ";" in names[0] else "tabs"
        raise MoueError(f"has {mark} between its columns", path, 1, hint="export it with commas and decimal points")
    known: dict[str, int] = {}
    for column, name in enumerate(names, 1):
        if not name:
            raise MoueError(f"row 1, column {column} has no name", path, 1)
        plain = name.removesuffix(PERCENT)
        if plain in known:
            what = f"has {shorten(repr(plain), 60)} twice, in columns {known[plain]} and {column}"
            raise MoueError(what, path, 1, hint="remove one")
        known[plain] = column
    return names
