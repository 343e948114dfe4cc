"""A document and the files that come and go with it, saved as one.

The document is what counts: a file that it does not name is nothing. So what is new gets names that were free, the
document takes its place last, and only then the files go that nothing names any more. A list of all of them, with their
hashes, is written first: where a save is killed, the next one of that document brings it to its end.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable, Collection
from contextlib import suppress
from pathlib import Path
from typing import IO

from composer.document.stored import is_inside
from composer.errors import MoueError
from composer.head.atomic import Ready, together, write_whole
from composer.head.leftovers import begun_at, new_begun, sweep
from composer.head.lock import is_locked, lock, unlock
from composer.head.reading import DAMAGE, bytes_of, open_regular
from composer.head.toml_text import parse_toml, texts_in

MOST_BYTES = 16 << 20
"""The largest text or list that is looked into; a safety limit."""
Writes = Callable[[], object]


def save_as_one(
    path: Path, fill: Callable[[IO[bytes]], object], *, arrays: Writes, gone: Collection[str] = (),
    beside: Writes | None = None, before: Writes | None = None,
) -> None:  # fmt: skip
    """Write the document at `path` with `fill`, the files of its new `arrays`, and those `beside` it that belong to
    this save; the arrays at the places `gone` are removed.

    `arrays` and `beside` write with `write_whole`, to names that nothing has. `before` is called when all is ready and
    nothing has taken its place. Raises MoueError where that does or a file cannot be written; then nothing changes.
    """
    begun: list[Path] = []

    def ready(files: Ready) -> None:
        if before is not None:
            before()
        if len(files.files) == 1 and not gone:
            return
        begun.append(new_begun(path))
        listed = {
            "document": hash_of(files.files[-1].ready),
            "beside": {_name(f.path, path): hash_of(f.ready) for f in files.files[:count]},
            "arrays": {place: hash_of(path.parent / place) for place in gone}
            | {_name(f.path, path): hash_of(f.ready) for f in files.files[count:-1]},
        }
        text = json.dumps(listed, indent=1)
        write_whole(begun[0], lambda file: file.write(text.encode()))

    with together(ready) as files:
        if beside is not None:
            beside()
        count = len(files.files)
        arrays()
        write_whole(path, fill)
    for each in begun:
        _finish(each, path)


def finish_saves(path: Path) -> None:
    """Bring killed saves of the document at `path` to their end: of what they listed, the files go that it does not
    name, where they are as the save wrote or found them. What cannot be removed stays.
    """
    for begun in begun_at(path):
        held = lock(begun)
        if held is not None or is_locked(begun) is None:
            _finish(begun, path)
        unlock(held)


def _finish(begun: Path, path: Path) -> None:
    with suppress(OSError, MoueError, *DAMAGE):
        listed = json.loads(bytes_of(begun, MOST_BYTES, "a list"))
        named = arrays_of(text_at(path)) if path.suffix.lower() != ".moue" else set()
        others = [text_at(each) for each in path.parent.glob("*.toml") if each.name != path.name]
        arrays = {place: hashed for place, hashed in listed["arrays"].items() if place.endswith(".npy")}
        gone = {place: hashed for place, hashed in arrays.items()
                if place not in named and not any(place.encode() in other for other in others)}  # fmt: skip
        if hash_of(path) != listed["document"]:
            gone |= listed["beside"]
        for place, hashed in gone.items():
            file = path.parent / place
            if is_inside(place) and hashed and hash_of(file) == hashed:
                file.unlink()
        for folder in {(path.parent / place).parent for place in (*listed["arrays"], *listed["beside"])}:
            sweep(folder, begun)
    with suppress(OSError):
        begun.unlink()


def arrays_of(text: bytes) -> set[str]:
    """The places of all arrays that a text of TOML names; none where it cannot be read."""
    try:
        return {word for word in texts_in(parse_toml(text.decode())) if word.endswith(".npy")}
    except DAMAGE:
        return set()


def text_at(file: Path) -> bytes:
    """The bytes of a text; none where there is none, or it cannot be read."""
    try:
        return bytes_of(file, MOST_BYTES, "a document") if file.is_file() else b""
    except MoueError:
        return b""


def hash_of(file: Path) -> str:
    """The SHA-256 of a file's bytes, in hex; "" where there is none, or it cannot be read."""
    try:
        with io.BufferedReader(open_regular(file)) as held:
            return hashlib.file_digest(held, "sha256").hexdigest()
    except (OSError, MoueError):
        return ""


def _name(file: Path, path: Path) -> str:
    folder = path.resolve().parent
    return file.relative_to(folder).as_posix() if file.is_relative_to(folder) else str(file)
