"""What a file may refer to: one rule for documents, masks, glTF and USD.

A file refers only to regular files in its own folder or below it; links are resolved first. A document may do more, in
two ways that it is made for:

- Its head, and the finer levels of that, may lie anywhere on this machine. The head is what a person opens a document
  for, it is read as a library and as nothing else, and Moue itself writes such documents (`moue regions HEAD --to
  elsewhere/face.moue`). A place on another machine (Windows: `\\\\server\\share`) is outside, unless the document lies
  there too.
- Its masks, pictures and kept shapes may lie in its own folder or in its head's, for the two are one work.

Everything else is outside, and refused with a line that says how to allow it: a person who trusts the file gives
`--allow-outside`, or says so in the window (`allow_outside`). Where a person saves a document elsewhere, the pictures
that it could use before stay allowed while that Moue runs. What a person names on the command line is no reference.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from composer.errors import MoueError, cannot, shorten, shorten_middle
from composer.head.reading import check_regular

HINT = "--allow-outside opens it"
_lock = threading.Lock()
_trusted: set[Path] = set()
_kept: set[tuple[Path, Path]] = set()
"""Files that may refer to anything, and pairs of a file and what it may refer to."""
_all_trusted = 0


def allow_outside(file: Path | str) -> None:
    """A person trusts this file, a document or library: it may refer to anything while this process runs."""
    with _lock:
        _trusted.add(_real(Path(file)))


@contextmanager
def outside_allowed(allowed: bool = True) -> Iterator[None]:
    """Every file may refer to anything inside, in every thread; with `allowed` False nothing changes."""
    global _all_trusted
    with _lock:
        _all_trusted += allowed
    try:
        yield
    finally:
        with _lock:
            _all_trusted -= allowed


def may_refer_outside(by: Path) -> bool:
    """Whether a person has allowed the file `by` to refer to what lies outside its folder."""
    with _lock:
        return _all_trusted > 0 or (bool(_trusted) and _real(by) in _trusted)


def beside(place: str, by: Path, what: str) -> Path | None:
    """The regular file of this place in the folder of `by`, where it is there; `what` says what it is in errors.
    Raises MoueError as `check_inside`."""
    path = by.parent / place
    if not path.is_file():
        return None
    check_inside(path, by, what)
    return path


def referred(place: str, by: Path, what: str, also: Path | None = None) -> Path:
    """The regular file that `by` names as `place`, from its own folder.

    `what` says what it is in errors, as in "buffer 0"; `also` is a second folder (or a file in one) that it may lie in.
    Raises MoueError naming `by` for a place outside that nobody has allowed, and naming the place where no regular file
    is there.
    """
    if not place or "\0" in place:
        raise MoueError(f"{what} names no file: {shorten(repr(place), 60)}", by)
    path = by.parent / place
    check_inside(path, by, what, also)
    check_regular(path)
    return path


def check_inside(path: Path, by: Path, what: str, also: Path | None = None) -> None:
    """Raises MoueError as `referred` where `by` may not refer to a path; whether anything is there is not looked at."""
    if may_refer_outside(by):
        return
    if not _on_other_machine(path, by):
        real, folders = _real(path), [_real(by).parent, _real(by.parent)]
        if also is not None:
            head = _real(also)
            folders.append(head if head.is_dir() else head.parent)
        with _lock:
            kept = (_real(by), real) in _kept
        if kept or any(folder in real.parents for folder in folders):
            return
    place = str(path).removeprefix(f"{by.parent}{os.sep}")
    raise MoueError(f"{what} lies outside its folder: {shorten_middle(place, 40)}", by, hint=HINT)


def check_head_place(path: Path, by: Path, what: str) -> None:
    """Raises MoueError naming the document `by` where its head or a level lies on another machine, and nobody has
    allowed that.
    """
    if _on_other_machine(path, by) and not may_refer_outside(by):
        raise MoueError(f"{what} lies on another machine: {shorten_middle(str(path), 40)}", by, hint=HINT)


def stays_allowed(path: Path, by: Path, now: Path, also: Path | None = None) -> None:
    """What `by` may refer to, `now` may too, while this process runs: a person saves the document `by` there."""
    with suppress(MoueError):
        check_inside(path, by, "", also)
        with _lock:
            _kept.add((_real(now), _real(path)))


def _on_other_machine(path: Path, by: Path) -> bool:
    return path.drive.startswith("\\\\") and path.drive.lower() != by.absolute().drive.lower()


def _real(path: Path) -> Path:
    try:
        return path.resolve()
    except (OSError, ValueError, RuntimeError) as error:  # a loop of links, a name that no system has
        raise cannot("read", path, error) from None
