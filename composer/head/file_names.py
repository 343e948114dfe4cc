"""Names that become files: of shapes, regions, recipes and documents.

One rule decides which names a file may have on all systems. Where a person chooses a name (`check_name`), or a name
must be read back unchanged (`check_file_names`), a bad name is refused. Where a name comes from a file that the person
may not be able to change (`file_names`), it is made safe, and no two names collide.

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
"""The longest name of a region or recipe in bytes of UTF-8; with prefix and suffix it is still a file name."""
LONGEST_FILE = 200
"""The longest file name in bytes of UTF-8: systems take 255, and a temporary file has up to 20 more."""
LONGEST_STEM = 60
"""The longest stem of a name that was made safe, in characters, before its hash."""
DEVICES = {"con", "prn", "aux", "nul", "conin$", "conout$"} | {
    f"{device}{number}" for device in ("com", "lpt") for number in "123456789\u00b9\u00b2\u00b3"
}
"""Names that Windows reserves for devices, with any suffix."""
SIGNS = frozenset("/\\:*?\"<>|")
PLAIN = "files are named after it; choose a plain name"


def file_fault(name: str, longest: int = LONGEST_FILE) -> str | None:
    """The reason why no file may have this name, as a hint to a person; None if it is allowed on every system."""
    if not name or name != name.strip() or name.startswith(".") or name.endswith(".") or SIGNS & set(name):
        return PLAIN
    if any(unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Zl", "Zp") for sign in name):
        return "leave out what cannot be seen"
    if len(name.encode()) > longest:
        return f"the name is too long for a file: {longest} letters are the most, and fewer with accents"
    if name.split(".")[0].strip().lower() in DEVICES:
        return "some systems keep that name for themselves"
    return None


def same_file(name: str) -> str:
    """A name as a case-insensitive file system compares it: two names with the same result are one file there."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def check_name(name: str, kind: str, path: Path | str | None, taken: Sequence[str] = ()) -> None:
    """Raises MoueError where a region or a recipe cannot have this name, because files are named after it.

    `kind` is the word for it in errors; `taken` are other names, from which it must differ in more than case.
    """
    fault = file_fault(name, LONGEST_NAME)
    if fault is not None and fault.startswith("it is longer"):
        what = f"the name of {kind} {shorten(repr(name), 40)} is too long"
        raise MoueError(what, path, hint=f"{LONGEST_NAME} letters are the most, and fewer with accents")
    if fault is not None:
        raise MoueError(f"a {kind} may not be named {shorten(repr(name), 60)}", path, hint=fault)
    for other in taken:
        if other != name and same_file(other) == same_file(name):
            raise MoueError(f"{kind}s {other!r} and {name!r} differ only in case", path, hint="rename one of them")


def check_file_names(names: Iterable[str], suffix: str, kind: str, where: Path | str | None) -> None:
    """Raises MoueError where one of the `names` (of shapes) with `suffix` is no file name, or two are one file.

    It is for files that are later found by name.
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
    """By name, the stem of its file without `suffix`: the name itself where allowed, else made safe.

    Forbidden characters become underscores, followed by a hash (8 hex digits of the SHA-256 of the name as NFC). The
    hash is also added where two names would be one file on a case-insensitive system. The result is never a path.
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
    """The plain part of a name, at most LONGEST_STEM characters, and a hash that makes it unique."""
    mark = hashlib.sha256(unicodedata.normalize("NFC", name).encode("utf-8", "surrogatepass")).hexdigest()[:8]
    plain = re.sub(r"[^A-Za-z0-9_-]+", "_", name)[:LONGEST_STEM].strip("_")
    return f"{plain}_{mark}" if plain else mark


def renamed(names: Iterable[str], suffix: str = "") -> list[str]:
    """A sentence on each name whose file has another name, for a command to print."""
    return [f"{name!r} is written as {stem}{suffix}: not every system allows its name for a file."
            for name, stem in file_names(names, suffix).items() if stem != name]  # fmt: skip
