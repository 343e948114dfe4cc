"""Values of a document's tables, checked strictly: the right type and in range, or an error of one line."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from composer.errors import MoueError, nearest, shorten

MOST_NUMBERS = 1 << 25
"""The most numbers in one list of vertices or pieces; a safety limit."""


class Values:
    """One table of the document at `path`; `where` names it, as in "recipe 'doubt'"."""

    def __init__(self, table: Mapping[str, Any], path: Path, where: str) -> None:
        self.table, self.path, self.where = table, path, where

    def error(self, what: str, hint: str | None = None) -> MoueError:
        """An error that names the table."""
        return MoueError(f"{self.where} {what}", self.path, hint=hint)

    def only(self, known: Sequence[str]) -> Values:
        """Itself. Raises MoueError for a key that is not known, with the nearest."""
        for key in self.table:
            if key not in known:
                raise self.error(f"has an unknown key {shorten(repr(key), 40)}", nearest(key, known) or None)
        return self

    def _is(self, key: str, words: str) -> MoueError:
        return self.error(f"needs {key} to be {words}, not {shorten(repr(self.table.get(key)), 40)}")

    def text(self, key: str, empty: bool = False) -> str | None:
        """A text, or None where the key is missing. Raises MoueError for an empty one unless `empty`."""
        value = self.table.get(key)
        if value is None:
            return None
        if not isinstance(value, str) or not (value or empty):
            raise self._is(key, "a text")
        return value

    def flag(self, key: str) -> bool:
        """True or false; false where the key is missing."""
        value = self.table.get(key, False)
        if not isinstance(value, bool):
            raise self._is(key, "true or false")
        return value

    def number(self, key: str, otherwise: float | None, low: float = -1e9, high: float = 1e9) -> float:
        """A finite number in [low, high]; `otherwise` where the key is missing. With None the key is required."""
        value = self.table.get(key, otherwise)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self._is(key, "a number")
        if not low <= value <= high or not math.isfinite(value):
            raise self._is(key, f"a number from {low:g} to {high:g}")
        return float(value)

    def whole(self, key: str, low: int, high: int = 2**31 - 1) -> int:
        """A whole number in [low, high]."""
        value = self.table.get(key)
        if isinstance(value, bool) or not isinstance(value, int):
            raise self._is(key, "a whole number")
        if not low <= value <= high:
            raise self._is(key, f"a whole number from {low} to {high}")
        return value

    def wholes(self, key: str) -> list[int]:
        """A list of whole numbers that are not negative."""
        value = self.table.get(key)
        if not isinstance(value, list) or not all(type(v) is int and 0 <= v < 2**31 for v in value):
            raise self._is(key, "a list of vertex numbers")
        return value

    def ranges(self, key: str) -> list[int]:
        """A list of whole numbers that are not negative, and of ranges such as "9-14" with both ends; or one number."""
        value = self.table.get(key)
        listed = [value] if type(value) is int else value
        words = f'a list of {"vertex" if key == "vertices" else "piece"} numbers and ranges such as [3, "9-14"]'
        if not isinstance(listed, list):
            raise self._is(key, words)
        out: list[int] = []
        for each in listed:
            ends = each.split("-") if isinstance(each, str) else [str(each)] if type(each) is int else []
            if not (1 <= len(ends) <= 2 and all(end.strip().isascii() and end.strip().isdigit() for end in ends)):
                raise self._is(key, words)
            first, last = int(ends[0]), int(ends[-1])
            if not 0 <= first <= last < MOST_NUMBERS:
                raise self.error(f"has the range {shorten(repr(each), 40)} in {key}", "the smaller number comes first")
            out += range(first, last + 1)
            if len(out) > MOST_NUMBERS:
                raise self.error(f"names too many numbers in {key}")
        return out

    def numbers(self, key: str, count: int, low: float = -1e9, high: float = 1e9) -> list[float]:
        """So many finite numbers in [low, high], two or three."""
        value = self.table.get(key)
        if not isinstance(value, list) or len(value) != count:
            raise self._is(key, f"{'two' if count == 2 else 'three'} numbers")
        return [Values({key: v}, self.path, self.where).number(key, None, low, high) for v in value]

    def three(self, key: str) -> list[float]:
        """Three finite numbers."""
        return self.numbers(key, 3)

    def tables(self, key: str) -> dict[str, Values]:
        """The tables under a key, by name; empty where the key is missing."""
        value = self.table.get(key, {})
        if not isinstance(value, dict) or not all(isinstance(each, dict) for each in value.values()):
            raise self.error(f"needs {key} to be tables", f"as [{key}.NAME]")
        return {name: Values(each, self.path, f"{key.removesuffix('s')} {name!r}") for name, each in value.items()}

    def rows(self, key: str, one: str) -> list[Values]:
        """The list of tables under a key; empty where the key is missing."""
        value = self.table.get(key, [])
        if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
            raise self.error(f"needs {key} to be a list of tables")
        return [Values(each, self.path, f"{one} {i + 1} of {self.where}") for i, each in enumerate(value)]
