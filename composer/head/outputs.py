"""Where a command may write a picture, a page or a report: not over other files of the user."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from composer.errors import MoueError, cannot

KINDS: dict[str, tuple[str, tuple[bytes, ...]]] = {
    ".png": ("a picture", (b"\x89PNG",)),
    ".webp": ("an animated picture", (b"RIFF",)),
    ".html": ("a page", (b"<!doctype html",)),
    ".json": ("a report", (b"{", b"[")),
}




def may_write(path: Path, suffix: str, sources: Iterable[Path | None] = (), makes: Path | None = None) -> Path:
    """The path itself, where a file of this kind may be written there.

    Raises MoueError, before any work is done, for another suffix, for one of `sources` (the files that the command
    reads), for a place inside a source's folder, for a folder that cannot be written, and for an existing file of
    another kind. `makes` is a folder that the command creates.
    """
    kind, begins = KINDS[suffix]
    if path.suffix.lower() != suffix:
        raise MoueError(f"is not named as {kind}", path, hint=f"give a name that ends in {suffix}")
    try:
        place = path.resolve()
        for source in sources:
            if source is None:
                continue
            source_place = source.resolve()
            if place == source_place or (source_place.is_dir() and source_place == place.parent):
                raise MoueError("is among the files that are read", path, hint="choose another place")
        if place.is_file():
            with place.open("rb") as file:
                first = file.read(16).lower()
            if not first.startswith(tuple(each.lower() for each in begins)):
                raise MoueError(f"is there and is not {kind}", path, hint="choose another name")
        elif place.exists():
            raise MoueError("is there and is not a file", path, hint="choose another name")
        will_be_made = makes is not None and makes.resolve() == place.parent
        if not place.parent.is_dir() and not will_be_made:
            raise MoueError("its folder is not there", path, hint="make it first, or choose another")
        if place.parent.is_dir() and not os.access(place.parent, os.W_OK):
            raise MoueError("its folder may not be written", path, hint="choose another")
    except (OSError, ValueError) as error:
        raise cannot("written", path, error) from None
    return path
