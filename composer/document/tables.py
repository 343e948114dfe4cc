"""The text of a document split at its tables, so that an edit parses only the tables that it changes.

tomlkit keeps comments but is slow: a third of a second for the text of sixty recipes, while a window waits for the same
interpreter. Most edits change one table. The caller parses the edited text again before using it, which detects a
split in the wrong place (a line that starts with a bracket inside a multi-line string).
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable

Key = tuple[str, str]


class Tables:
    """`texts` by key, in order; joined they are the whole text. A table [kind.NAME] and its subtables have the key
    (kind, NAME); all other text has keys that no table has.
    """

    def __init__(self, texts: dict[Key, str]) -> None:
        self.texts = texts

    @property
    def text(self) -> str:
        """The text of the document."""
        return "".join(self.texts.values())

    def append(self, key: Key, text: str) -> None:
        """Add a table at the end."""
        before = self.text
        self.texts[key] = text if not before or before.endswith("\n") else "\n" + text


def cut(text: str, kinds: Iterable[str]) -> Tables | None:
    """The text of a document split at its tables of some kinds; None where its layout does not allow it.

    A comment directly above a table belongs to it.
    """
    known, key = set(kinds), ("", "0")
    texts: dict[Key, str] = {}
    lines: list[str] = []
    for line in text.splitlines(keepends=True):
        path = _header(line)
        if path is None:
            return None
        header_key = (path[0], path[1]) if len(path) > 1 and path[0] in known else ("", str(len(texts) + 1))
        if not path or header_key == key:
            lines.append(line)
            continue
        above: list[str] = []
        while lines and lines[-1].lstrip().startswith("#"):
            above.insert(0, lines.pop())
        texts[key] = "".join(lines)
        if header_key in texts or len(path) > 2:
            return None
        key, lines = header_key, [*above, line]
    texts[key] = "".join(lines)
    return Tables(texts)


def _header(line: str) -> list[str] | None:
    """The names in the header of a table, empty for any other line. None for a bracket that is no header, and for a
    list of tables other than [[correctives]].
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
