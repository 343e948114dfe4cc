"""TOML parsed with a bound: Python's parser takes memory that grows with the square of a dotted key's parts."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

MOST_PARTS = 64
"""The parts of a dotted key: four times what any file of Moue's has (our choice)."""
_KEY = r"(?:[A-Za-z0-9_-]++|\"[^\"\n]*+\"|'[^'\n]*+')"
_DEEP = re.compile(rf"(?:^|[\[{{,])[ \t]*+(?:{_KEY}[ \t]*+\.[ \t]*+){{{MOST_PARTS}}}", re.MULTILINE)


def parse_toml(text: str) -> dict[str, Any]:
    """The table in a text. Raises tomllib.TOMLDecodeError, with the line, for what is no TOML, or has a key of more
    than `MOST_PARTS` parts; RecursionError for values that are nested too deep.
    """
    deep = _DEEP.search(text)
    if deep is not None:
        line = text.count("\n", 0, deep.start() + 1) + 1
        raise tomllib.TOMLDecodeError(f"A key of more than {MOST_PARTS} parts (at line {line}, column 1)")
    return tomllib.loads(text)


def texts_in(value: Any) -> Iterator[str]:
    """Every text among the values of a table, however deep it lies."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from texts_in(each)
    elif isinstance(value, list):
        for each in value:
            yield from texts_in(each)
