"""Filling a folder atomically: a temporary folder beside it is filled, then exchanged with it in one step.

A manifest in it holds the hash of every file by name. The same command may fill the folder again only if no file
changed since. Without a manifest nothing may.
"""

from __future__ import annotations

import filecmp
import json
import os
import re
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from fnmatch import fnmatch
from itertools import chain
from pathlib import Path

from composer.errors import MoueError, cannot
from composer.head.atomic import sync_folder, write_whole
from composer.head.exchange import exchanged
from composer.head.file_hash import file_hash
from composer.head.folders import is_there, make_folder
from composer.head.leftovers import Beside, old_place, olds_of
from composer.head.reading import DAMAGE, bytes_of

MOST_BYTES = 64 * 2**20
"""The largest manifest in bytes, enough for half a million files; a safety limit."""


@contextmanager
def filled_whole(folder: Path | str, manifest: str | None, kind: str) -> Iterator[Path]:
    """A temporary folder to fill, which replaces `folder` at the end, or is removed after an error.

    Raises MoueError as `may_fill`, and where the folder cannot be written.
    """
    may_fill(folder, manifest, kind)
    given, folder = Path(folder), Path(os.path.realpath(folder))
    with _beside(given, folder) as beside:
        yield beside
        if manifest is not None:
            hashes = {_name(file, beside): file_hash(file) for file in _files(beside)}
            text = json.dumps(hashes, indent=1, sort_keys=True)
            write_whole(beside / manifest, lambda file: file.write(text.encode()), sync=False)
        may_fill(given, manifest, kind)  # again: it may have taken long
        _put(beside, folder)


@contextmanager
def put_whole(folder: Path) -> Iterator[Path]:
    """A temporary folder to fill, which replaces `folder` at the end, whatever that holds, or is removed after an
    error. Raises MoueError where the folder cannot be written."""
    real = Path(os.path.realpath(folder))
    with _beside(folder, real) as beside:
        yield beside
        _put(beside, real)


def filled_or_same(places: Iterable[Path], fill: Callable[[Path], object], apart: str) -> tuple[Path, bool]:
    """Fill a new folder at the first free one of `places`, and say whether it is new.

    A folder on the way that holds the very same files is taken instead, and left as it is: a run that was killed left
    it, or the same was made before. Files in it that match `apart`, and hidden ones, do not count. `fill` gets a
    temporary folder. Raises MoueError where it cannot be written.
    """
    places = iter(places)
    first = next(places)
    with _beside(first, Path(os.path.realpath(first))) as beside:
        fill(beside)
        for place in chain([first], places):
            if not is_there(place):
                _put(beside, Path(os.path.realpath(place)))
                return place, True
            if _same_files(place, beside, apart):
                return place, False
    raise ValueError("every place is taken")


@contextmanager
def _beside(given: Path, folder: Path) -> Iterator[Path]:
    """A temporary folder beside `folder`; errors in it are told of the place that was `given`."""
    make_folder(folder.parent)
    try:
        held = Beside(folder, folder=True)
    except OSError as error:
        raise cannot("written", given, error) from None
    try:
        held.place.chmod(0o755)
        yield held.place
    except OSError as error:
        raise cannot("written", given, error) from None
    except MoueError as error:
        raise _for_the_person(error, held.place, given) from None
    finally:
        held.remove()


def _same_files(folder: Path, other: Path, apart: str) -> bool:
    own = {_name(file, folder): file for file in _files(folder)}
    hidden = re.compile(r"(^|/)\.")
    own = {name: file for name, file in own.items() if not fnmatch(name, apart) and not hidden.search(name)}
    others = {_name(file, other): file for file in _files(other)}
    return own.keys() == others.keys() and all(filecmp.cmp(own[name], others[name], shallow=False) for name in own)


def may_fill(folder: Path | str, manifest: str | None, kind: str) -> None:
    """Raises MoueError where `folder` holds anything but an unchanged earlier `kind` ("carry")."""
    folder = Path(folder)
    _restore(folder)
    if not is_there(folder):
        return
    if not folder.is_dir():
        raise MoueError("is there and is no folder", folder, hint="choose another place")
    try:
        files = _files(folder)
        if not files:
            return
        if manifest is None:
            raise MoueError("is there already", folder, hint="give a new folder")
        if not (folder / manifest).is_file():
            raise MoueError(f"holds files that are no {kind}", folder, hint="choose another folder")
        known = json.loads(bytes_of(folder / manifest, MOST_BYTES, "a manifest"))
        own = {_name(file, folder): file for file in files if file.name != manifest}
        changed = [name for name, file in own.items() if known.get(name) != file_hash(file)]
    except (OSError, *DAMAGE) as error:
        raise cannot("read", folder, error) from None
    if changed:
        what = f"{changed[0]} has been changed since the {kind}, or was put there"
        raise MoueError(what, folder, hint="move it away, or choose another folder")


def _put(beside: Path, folder: Path) -> None:
    """Move the folder `beside` to the place of `folder`. In one step where the system can; else the old one is restored
    after an error, and by the next run where this one is killed between the two steps.
    """
    if not folder.exists():
        os.replace(beside, folder)
    elif exchanged(beside, folder):
        shutil.rmtree(beside, ignore_errors=True)
    else:
        _put_in_two_steps(beside, folder)
    sync_folder(folder.parent)


def _put_in_two_steps(beside: Path, folder: Path) -> None:
    old = old_place(folder)
    os.replace(folder, old)
    try:
        os.replace(beside, folder)
    except BaseException:
        os.replace(old, folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _restore(folder: Path) -> None:
    """Put an old folder back that an interrupted exchange left aside; nothing where there is none, or any doubt."""
    try:
        folder = Path(os.path.realpath(folder))
        olds = [] if folder.exists() else olds_of(folder)
        if len(olds) == 1:
            os.replace(olds[0], folder)
    except (OSError, ValueError):
        return


def _for_the_person(error: MoueError, beside: Path, given: Path) -> MoueError:
    """An error about a file in the hidden folder, told of the place where the person looks for it."""
    try:
        place = given / Path(str(error.where)).relative_to(beside)
    except ValueError:
        return error
    return MoueError(error.what, place, error.line, error.hint)


def _files(folder: Path) -> list[Path]:
    return sorted(file for file in folder.rglob("*") if file.is_file())


def _name(file: Path, folder: Path) -> str:
    return file.relative_to(folder).as_posix()
