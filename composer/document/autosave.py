"""Autosaves: unsaved work in `.NAME.autosave.moue` beside the document, written atomically.

An autosave is an ordinary `.moue` file, so that it also opens by hand. The autosave of a document that was never saved
lies in a folder that the caller gives. The next opening of the document offers the autosave if it differs from the
document. A save removes it.
"""

from __future__ import annotations

import hashlib
import re
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.project import Project
from composer.document.store import moved_to, open_document, save_document
from composer.document.stored import beside_files, pictures_of, stored_places, with_beside_files, with_places
from composer.document.text import SAID, referred_places
from composer.errors import MoueError, cannot
from composer.head.folders import make_folder

TAIL = ".autosave.moue"
LONGEST_FILE = 200
"""The longest name of an autosave in bytes. File systems in use take 255; the rest is for the suffix of a temporary
file.
"""
TORN_SECONDS = 60.0
"""A temporary file older than this, in seconds, counts as left by a process that died. A design choice, no source."""


@dataclass(frozen=True, eq=False)
class Waiting:
    """An autosave on offer: its file `place`, its time in `seconds` since 1970, and its `project`, with the path of the
    document, so that a save goes there.
    """

    place: Path
    seconds: float
    project: Project


def autosave_place(document: Path | str, folder: Path | str | None = None, mark: str = "") -> Path:
    """The path of a document's autosave: beside the document, or in `folder` for one that was never saved. In `folder`
    its name holds a hash of the document's own folder. A window that is not the only one has a `mark` in it.
    """
    document = Path(document)
    name = document.name + (f".{mark}" if mark else "")
    if folder is not None:
        name += "." + hashlib.sha256(str(document.resolve().parent).encode("utf-8", "surrogatepass")).hexdigest()[:8]
    if len(f".{name}{TAIL}".encode()) > LONGEST_FILE:
        mark = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:16]
        name = name.encode()[:60].decode(errors="ignore") + mark
    return (document.parent if folder is None else Path(folder)) / f".{name}{TAIL}"


def keep(project: Project, place: Path | str) -> None:
    """Write a project to the autosave at `place`; the folder is made if needed, the project does not change.

    Raises MoueError where the autosave cannot be written; the previous one is then intact.
    """
    place = Path(place)
    make_folder(place.parent)
    save_document(project, place, over=True)


def copies_of(document: Path) -> list[tuple[Path, str]]:
    """The autosaves beside a document, each with the mark of the window that wrote it ("" for the only one)."""
    plain = autosave_place(document)
    found = [(plain, "")] if plain.exists() else []
    begins, ends = f".{document.name}.", TAIL
    with suppress(OSError):
        names = sorted(each.name for each in document.parent.iterdir())
        marks = [name[len(begins) : -len(ends)] for name in names if name.startswith(begins) and name.endswith(ends)]
        found += [(autosave_place(document, mark=mark), mark) for mark in marks if re.fullmatch("[0-9a-f]{8}", mark)]
    return found


def waiting(document: Path | str, place: Path | str | None = None) -> Waiting | None:
    """The autosave of a document if it holds other work, else None; it lies at `place`, by default beside the document.

    A save leaves no autosave, and a killed one leaves one that says the same as the document. So whatever differs is
    work that was not saved; no clock is asked. A document that cannot be read counts as different. Raises MoueError
    for an autosave that cannot be read.
    """
    document = Path(document)
    place = autosave_place(document) if place is None else Path(place)
    seconds = _written(place)
    if seconds is None:
        return None
    kept = moved_to(open_document(place), document)
    try:
        saved = moved_to(open_document(document), document)
    except MoueError:
        saved = None
    return None if saved is not None and says_the_same(kept, saved) else Waiting(place, seconds, kept)


def forget(place: Path | str) -> None:
    """Remove an autosave after a save, or when the person discards it; nothing happens where there is none.

    Temporary files of crashed writes, older than `TORN_SECONDS`, are removed too. Raises MoueError where the system
    refuses.
    """
    place = Path(place)
    try:
        place.unlink(missing_ok=True)
        begins, before = f".{place.name[:40]}.", time.time() - TORN_SECONDS
        for torn in list(place.parent.iterdir()) if place.parent.is_dir() else []:
            if torn.name.startswith(begins) and torn.suffix == ".part" and (_written(torn) or before) < before:
                torn.unlink(missing_ok=True)
    except OSError as error:
        raise cannot("removed", place, error) from None


def says_the_same(one: Project, other: Project) -> bool:
    """Whether two projects hold the same document. Their texts and the names of their arrays' places may differ; arrays
    are compared as float32.
    """
    a, b = _by_number(one), _by_number(other)
    same = referred_places(one) == referred_places(other) and all(getattr(a, key) == getattr(b, key) for key in SAID)
    return same and _same_arrays(a.stored, b.stored)


def _by_number(project: Project) -> Project:
    """The project with its arrays named by number, and its pictures and the files of its clips and references by where
    they lie."""
    called = {place: f"{i}.npy" for i, place in enumerate(stored_places(project))}
    stored = {called[place]: held for place, held in project.stored.items() if place in called}
    lies = {place: (project.path.parent / place).resolve().as_posix()
            for place in (*pictures_of(project), *beside_files(project))}  # fmt: skip
    return with_places(with_beside_files(project, lies), called, lies).with_(stored=stored)


def _same_arrays(one: Mapping[str, NDArray], other: Mapping[str, NDArray]) -> bool:
    return one.keys() == other.keys() and all(
        held is other[place] or np.array_equal(held.astype(np.float32), other[place].astype(np.float32))
        for place, held in one.items()
    )


def _written(path: Path) -> float | None:
    """When a file was last written, seconds since 1970; None where there is none."""
    try:
        return path.stat().st_mtime
    except OSError:
        return None
