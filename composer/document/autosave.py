"""What was not saved yet, kept beside the document: `.NAME.autosave.moue`, whole at every instant.

It is an ordinary `.moue` file, so that it opens by hand too. A document that was never saved keeps its own in a
folder that the caller gives. It waits for whoever opens the document next where it is younger than the document and
says something else; a save forgets it.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.project import Project
from composer.document.store import moved_to, open_document, save_document
from composer.document.stored import stored_places, with_places
from composer.document.text import SAID
from composer.errors import MoueError, cannot
from composer.head.folders import make_folder

TAIL = ".autosave.moue"
LONGEST_FILE = 200
"""Bytes of a file's name that every system takes, with what a save adds to it while it writes."""
TORN_SECONDS = 60.0
"""A half-written file of this age belongs to a process that is gone."""


@dataclass(frozen=True, eq=False)
class Waiting:
    """An autosave that waits: the file it lies in, its time (seconds since 1970), and the project it holds, at the
    path of its document, so that a save of it goes there.
    """

    place: Path
    seconds: float
    project: Project


def autosave_place(document: Path | str, folder: Path | str | None = None) -> Path:
    """Where the autosave of a document lies: beside it, or in `folder` for one that was never saved, marked there by
    the folder it would lie in.
    """
    document = Path(document)
    name = document.name
    if folder is not None:
        name += "." + hashlib.sha256(str(document.resolve().parent).encode("utf-8", "surrogatepass")).hexdigest()[:8]
    if len(f".{name}{TAIL}".encode()) > LONGEST_FILE:
        mark = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:16]
        name = name.encode()[:60].decode(errors="ignore") + mark
    return (document.parent if folder is None else Path(folder)) / f".{name}{TAIL}"


def keep(project: Project, place: Path | str) -> None:
    """Write a project to its autosave's `place`, the folder made where it is not there; the project stays as it is.

    Raises MoueError where it cannot be written; the autosave before is then still whole.
    """
    place = Path(place)
    make_folder(place.parent)
    save_document(project, place)


def waiting(document: Path | str, place: Path | str | None = None) -> Waiting | None:
    """The autosave of a document that holds something newer than it, at `place` where it is not beside it; else None.

    Newer: the document is not there or was written before it, and the two say different things. Raises MoueError
    for an autosave that cannot be read; a document that cannot be read counts as different.
    """
    document = Path(document)
    place = autosave_place(document) if place is None else Path(place)
    seconds = _written(place)
    if seconds is None or (_written(document) or 0.0) > seconds:
        return None
    kept = moved_to(open_document(place), document)
    try:
        saved = moved_to(open_document(document), document)
    except MoueError:
        saved = None
    return None if saved is not None and says_the_same(kept, saved) else Waiting(place, seconds, kept)


def forget(place: Path | str) -> None:
    """Remove an autosave, after a save or when nobody wants it; nothing happens where there is none.

    What a crash left of a write, older than a minute, goes too. Raises MoueError where the system refuses.
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
    """Whether two projects hold the same document, whatever the text it was read from and whatever its arrays'
    places are called, the arrays compared as float32.
    """
    ours, theirs = ({0: p.head_path.resolve()} | {k: v.resolve() for k, v in p.levels.items()} for p in (one, other))
    a, b = _by_number(one), _by_number(other)
    same = ours == theirs and all(getattr(a, key) == getattr(b, key) for key in SAID)
    return same and _same_arrays(a.stored, b.stored)


def _by_number(project: Project) -> Project:
    """The project with its arrays called by their number."""
    called = {place: f"{i}.npy" for i, place in enumerate(stored_places(project))}
    stored = {called[place]: held for place, held in project.stored.items() if place in called}
    return with_places(project, called, {}).with_(stored=stored)


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
