"""Filling a folder atomically: a temporary folder beside it is filled, then moved to its place.

A manifest in it holds the hash of every file by name. The same command may fill the folder again only if no file
changed since. Without a manifest nothing may.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from composer.errors import MoueError, cannot
from composer.head.folders import is_there, make_folder
from composer.head.reading import DAMAGE, bytes_of

MOST_BYTES = 64 * 2**20
"""The largest manifest in bytes, enough for half a million files; a safety limit."""


@contextmanager
def filled_whole(folder: Path | str, manifest: str | None, kind: str) -> Iterator[Path]:
    """A temporary folder to fill, which replaces `folder` at the end, or is removed after an error.

    Raises MoueError as `may_fill`, and where the folder cannot be written.
    """
    may_fill(folder, manifest, kind)
    given, folder = folder, Path(os.path.realpath(folder))
    make_folder(folder.parent)
    try:
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name[:40]}.", suffix=".part", dir=folder.parent))
    except OSError as error:
        raise cannot("written", given, error) from None
    try:
        beside.chmod(0o755)
        yield beside
        if manifest is not None:
            hashes = {_name(file, beside): _hash(file) for file in _files(beside)}
            (beside / manifest).write_text(json.dumps(hashes, indent=1, sort_keys=True), encoding="utf-8")
        _put(beside, folder)
    except OSError as error:
        raise cannot("written", given, error) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def may_fill(folder: Path | str, manifest: str | None, kind: str) -> None:
    """Raises MoueError where `folder` holds anything but an unchanged earlier `kind` ("carry")."""
    folder = Path(folder)
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
        changed = [_name(f, folder) for f in files if f.name != manifest and known.get(_name(f, folder)) != _hash(f)]
    except (OSError, *DAMAGE) as error:
        raise cannot("read", folder, error) from None
    if changed:
        what = f"{changed[0]} has been changed since the {kind}, or was put there"
        raise MoueError(what, folder, hint="move it away, or choose another folder")


def _put(beside: Path, folder: Path) -> None:
    """Move the folder `beside` to the place of `folder`; the old one is restored after an error."""
    if not folder.exists():
        os.replace(beside, folder)
        return
    old = beside.with_suffix(".old")
    os.replace(folder, old)
    try:
        os.replace(beside, folder)
    except BaseException:
        os.replace(old, folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _files(folder: Path) -> list[Path]:
    return sorted(file for file in folder.rglob("*") if file.is_file())


def _name(file: Path, folder: Path) -> str:
    return file.relative_to(folder).as_posix()


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
