"""Names that become files: of shapes, regions, recipes and documents, from whatever file they come.

One rule says which name a file may have, on every system that a project may travel to. Where a person chooses a name
(`check_name`) or a name must come back as it was (`check_file_names`), another one is refused; where a name comes from
a file that the person may not be able to change (`file_names`), it is made safe, and no two names meet.

Sources: POSIX.1-2017, 3.170 "Filename" and 4.13 (what separates); Microsoft, "Naming Files, Paths, and Namespaces"
(signs, reserved names, dots and blanks at the end); Unicode Standard Annex 15 (names are compared as NFC).
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable, Sequence
from pathlib import Path

from composer.errors import MoueError, shorten

LONGEST_NAME = 120
"""Bytes of UTF-8 of a region's or recipe's name: with what is put before and behind it, it stays a file's name."""
LONGEST_FILE = 200
"""Bytes of UTF-8 of a whole file's name: systems take 255, and a write puts up to 20 more behind it for a while."""
LONGEST_STEM = 60
"""Characters of a name that was made safe, before its mark."""
DEVICES = {"con", "prn", "aux", "nul", "conin$", "conout$"} | {
    f"{device}{number}" for device in ("com", "lpt") for number in "123456789\u00b9\u00b2\u00b3"
}
"""Names that Windows keeps for devices, whatever suffix follows them."""
SIGNS = frozenset("/\\:*?\"<>|")
PLAIN = "files are named after it; choose a plain name"


def file_fault(name: str, longest: int = LONGEST_FILE) -> str | None:
    """Why no file may have this whole name, as a hint to a person; None where it may, on every system."""
    if not name or name != name.strip() or name.startswith(".") or name.endswith(".") or SIGNS & set(name):
        return PLAIN
    if any(unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Zl", "Zp") for sign in name):
        return "leave out what cannot be seen"
    if len(name.encode()) > longest:
        return f"it is longer than {longest} bytes"
    if name.split(".")[0].strip().lower() in DEVICES:
        return "some systems keep that name for themselves"
    return None


def same_file(name: str) -> str:
    """A name as the least particular file system compares it: two names that give the same text are one file there."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def check_name(name: str, kind: str, path: Path | str | None, taken: Sequence[str] = ()) -> None:
    """Raises MoueError where a region or a recipe may not be named so: files are named after both.

    `kind` is what it is, in the words of the error; `taken` the names beside it, from which it must differ in more than
    case.
    """
    fault = file_fault(name, LONGEST_NAME)
    if fault is not None and fault.startswith("it is longer"):
        raise MoueError(f"the name of {kind} {shorten(repr(name), 40)} is longer than {LONGEST_NAME} bytes", path)
    if fault is not None:
        raise MoueError(f"a {kind} may not be named {shorten(repr(name), 60)}", path, hint=fault)
    for other in taken:
        if other != name and same_file(other) == same_file(name):
            raise MoueError(f"{kind}s {other!r} and {name!r} differ only in case", path, hint="rename one of them")


def check_file_names(names: Iterable[str], suffix: str, kind: str, where: Path | str | None) -> None:
    """Raises MoueError where one of the `names` (of shapes) is no file's name with `suffix`, or two are one file's.

    For files that are found by their names again.
    """
    seen: dict[str, str] = {}
    for name in dict.fromkeys(names):
        fault = file_fault(name + suffix)
        if fault is not None:
            raise MoueError(f"no file can be named after {kind} {shorten(repr(name), 60)}", where, hint=fault)
        other = seen.setdefault(same_file(name), name)
        if other != name:
            raise MoueError(f"{kind}s {other!r} and {name!r} would be one file", where, hint="rename one of them")


def file_names(names: Iterable[str], suffix: str = "") -> dict[str, str]:
    """By name, what its file is called without `suffix`: itself where a file may be named so, else made safe.

    Signs that no file may have become underscores, and a mark follows (8 hex digits of the SHA-256 of the name as NFC);
    so does it where two names would be one file on a system that does not tell case. A path never comes out.
    """
    made: dict[str, str] = {}
    taken: set[str] = set()
    for name in dict.fromkeys(names):
        stem = name if file_fault(name + suffix) is None else marked(name)
        if same_file(stem) in taken:
            stem = marked(name)
        number = 1
        while same_file(stem) in taken:
            number += 1
            stem = f"{marked(name)}_{number}"
        taken.add(same_file(stem))
        made[name] = stem
    return made


def marked(name: str) -> str:
    """The plain part of a name, at most LONGEST_STEM characters, and a mark that tells it from every other name."""
    mark = hashlib.sha256(unicodedata.normalize("NFC", name).encode("utf-8", "surrogatepass")).hexdigest()[:8]
    plain = re.sub(r"[^A-Za-z0-9_-]+", "_", name)[:LONGEST_STEM].strip("_")
    return f"{plain}_{mark}" if plain else mark


def renamed(names: Iterable[str], suffix: str = "") -> list[str]:
    """A sentence on each name whose file is called otherwise, for a command to say."""
    return [f"{name!r} is written as {stem}{suffix}: no file can be named so on every system."
            for name, stem in file_names(names, suffix).items() if stem != name]  # fmt: skip
