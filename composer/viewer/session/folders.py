"""What a folder holds that can be opened, for machines without a dialog of their own."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from composer.errors import MoueError
from composer.formats.registry import suffixes
from composer.viewer.session.opening import DOCUMENTS
from composer.viewer.session.pictured import PICTURES

MOST_LISTED = 2000
"""Entries of a folder that are listed; the search finds the others' names only by typing them."""


@dataclass(frozen=True)
class Listed:
    """A folder's `folders` and the `files` that can be opened, by name, how many others it holds, and `fault`, why it
    cannot be read, "" where it can."""

    place: Path
    folders: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    others: int = 0
    fault: str = ""


def openable() -> list[str]:
    """The suffixes of what can be opened: documents first, then every format."""
    return [*DOCUMENTS, *suffixes()]


def formats_words() -> str:
    """Everything that can be opened, as a hint: "a folder of targets, or a file: MOUE, TOML, OBJ ..."."""
    return f"a folder of targets, or a file: {', '.join(suffix.lstrip('.').upper() for suffix in openable())}"


def list_folder(place: Path, pictures: bool = False) -> Listed:
    """What lies in a folder; with `pictures` those, too. Hidden entries are left out."""
    wanted = (*openable(), *(PICTURES if pictures else ()))
    folders, files, others = [], [], 0
    try:
        with os.scandir(place) as entries:
            for entry in entries:
                if entry.name.startswith("."):
                    continue
                if _is_folder(entry):
                    folders.append(entry.name)
                elif entry.name.lower().endswith(wanted):
                    files.append(entry.name)
                else:
                    others += 1
    except OSError as error:
        return Listed(place, fault=f"{place} cannot be read: {error.strerror or error}")
    by_name = {"key": str.casefold}
    return Listed(place, tuple(sorted(folders, **by_name)[:MOST_LISTED]),  # type: ignore[call-overload]
                  tuple(sorted(files, **by_name)[:MOST_LISTED]), others)  # type: ignore[call-overload]


def fault_of(typed: str) -> str:
    """Why what was typed cannot be opened, "" where there is something there."""
    path = Path(typed.strip().strip('"')).expanduser()
    try:
        there = path.exists()
    except (OSError, ValueError):
        there = False
    return "" if there else str(MoueError("is not there", path))


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False
