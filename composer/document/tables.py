"""The text of a document cut at its tables, so that an edit parses only the tables that it changes.

tomlkit keeps comments and takes its time: a third of a second for the text of sixty recipes, while a window waits
for the same interpreter. Most edits change one table. Whoever edits a text so reads it again before using it: a cut
in the wrong place (a line that begins with a bracket inside a text of several lines) is then found out.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable

Key = tuple[str, str]


class Tables:
    """`texts` by key, in order: the whole text is their sum. The key of a table [kind.NAME] is (kind, NAME), and
    takes its subtables along; everything else has a key that no table has.
    """

    def __init__(self, texts: dict[Key, str]) -> None:
        self.texts = texts

    @property
    def text(self) -> str:
        """The text of the document."""
        return "".join(self.texts.values())

    def append(self, key: Key, text: str) -> None:
        """One more table, last."""
        before = self.text
        self.texts[key] = text if not before or before.endswith("\n") else "\n" + text


def cut(text: str, kinds: Iterable[str]) -> Tables | None:
    """The text of a document cut at its tables of some kinds; None where it is laid out so that it cannot be.

    A comment that stands right above a table goes with it.
    """
    known, key = set(kinds), ("", "0")
    texts: dict[Key, str] = {}
    lines: list[str] = []
    for line in text.splitlines(keepends=True):
        path = _header(line)
        if path is None:
            return None
        own = (path[0], path[1]) if len(path) > 1 and path[0] in known else ("", str(len(texts) + 1))
        if not path or own == key:
            lines.append(line)
            continue
        above: list[str] = []
        while lines and lines[-1].lstrip().startswith("#"):
            above.insert(0, lines.pop())
        texts[key] = "".join(lines)
        if own in texts or len(path) > 2:
            return None
        key, lines = own, [*above, line]
    texts[key] = "".join(lines)
    return Tables(texts)


def _header(line: str) -> list[str] | None:
    """The names in the header of a table, none for another line; None for what is no header, and for a list of tables
    other than [[correctives]].
    """
    if not line.lstrip().startswith("["):
        return []
    try:
        table = tomllib.loads(line)
    except tomllib.TOMLDecodeError:
        return None
    path: list[str] = []
    while isinstance(table, dict) and table:
        (name,) = table
        path.append(name)
        table = table[name]
    return None if isinstance(table, list) and path != ["correctives"] else path
