"""Writing files atomically: to temporary files beside them, flushed, then renamed over them.

`write_whole` does so with one file. What is written inside `together` lies ready beside its place until all of it is
complete; only then the files are put in their places, in order. So an error before that leaves everything as it was.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from composer.errors import MoueError, cannot
from composer.head.leftovers import Beside

_collecting: ContextVar[Ready | None] = ContextVar("files that are put in their places together", default=None)


def write_whole(
    path: Path | str, fill: Callable[[IO[bytes]], object], sync: bool = True,
    before: Callable[[], object] | None = None,
) -> None:  # fmt: skip
    """Call `fill(file)` on a new binary file beside `path`, then put it in the place of `path`.

    `path` always holds its old content or all of the new; with `sync` also after a loss of power. Large files that
    can be recreated may do without. `before` is called when the new file is complete, just before it takes its place;
    what it raises leaves the old one. Raises MoueError where the folder cannot be written. Errors of `fill` pass
    through; the temporary file is then removed.
    """
    given, path = Path(path), _real(Path(path))
    ready = _collecting.get()
    if ready is not None:
        ready.add(given, path, fill, sync)
        return
    beside = _beside(given, path, folder=False)
    try:
        _filled(beside.taken(), fill, sync)
        if before is not None:
            before()
        _put(beside.place, path, sync)
    except OSError as error:
        raise cannot("written", given, error) from None
    finally:
        beside.remove()


@dataclass
class Waiting:
    """A complete file that waits at `ready` for its place `path`; `given` is how the caller called that."""

    given: Path
    path: Path
    ready: Path
    sync: bool


@dataclass
class Ready:
    """Files that are complete and wait for their places."""

    files: list[Waiting] = field(default_factory=list)
    _besides: dict[Path, Beside] = field(default_factory=dict)

    def add(self, given: Path, path: Path, fill: Callable[[IO[bytes]], object], sync: bool) -> None:
        """Fill one more file. Raises MoueError where the folder cannot be written."""
        if path.parent not in self._besides:
            self._besides[path.parent] = _beside(given, path, folder=True)
        ready = self._besides[path.parent].place / str(len(self.files))
        try:
            _filled(os.open(ready, os.O_WRONLY | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o600), fill, sync)
        except OSError as error:
            raise cannot("written", given, error) from None
        self.files.append(Waiting(given, path, ready, sync))

    def put(self) -> None:
        """Put every file in its place, in order. Raises MoueError at the first that cannot be."""
        for file in self.files:
            try:
                _put(file.ready, file.path, file.sync)
            except OSError as error:
                raise cannot("written", file.given, error) from None

    def discard(self) -> None:
        """Remove what still waits."""
        for beside in self._besides.values():
            beside.remove()


@contextmanager
def together(before: Callable[[Ready], object] | None = None) -> Iterator[Ready]:
    """All files that this thread writes inside are put in their places at the end, in order, or none of them is.

    `before` is called when all are complete and none is in its place yet; what it writes, it writes at once. Raises
    MoueError as `write_whole`; where a file cannot be put in its place, those before it have been.
    """
    ready = Ready()
    token = _collecting.set(ready)
    try:
        try:
            yield ready
        finally:
            _collecting.reset(token)
        if before is not None:
            before(ready)
        ready.put()
    finally:
        ready.discard()


def _beside(given: Path, path: Path, folder: bool) -> Beside:
    try:
        return Beside(path, folder)
    except OSError as error:
        raise MoueError(f"cannot write here: {error.strerror}", given, hint="choose another folder") from None


def _filled(handle: int, fill: Callable[[IO[bytes]], object], sync: bool) -> None:
    with os.fdopen(handle, "wb") as file:
        fill(file)
        file.flush()
        if sync:
            os.fsync(file.fileno())


def _put(ready: Path, path: Path, sync: bool) -> None:
    os.chmod(ready, path.stat().st_mode & 0o7777 if path.exists() else 0o666 & ~_umask())
    os.replace(ready, path)
    if sync:
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Let a rename in a folder outlast a loss of power, where the system can."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _real(path: Path) -> Path:
    """The file to write, with links resolved. Raises MoueError where it exists and is no regular file."""
    try:
        real = path.resolve()
        if real.exists() and not stat.S_ISREG(real.stat().st_mode):
            raise MoueError("is there and is no file", path, hint="choose another name")
    except (OSError, ValueError) as error:
        raise cannot("written", path, error) from None
    return real


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
