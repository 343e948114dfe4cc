"""Hidden files and folders beside what is being written, and what is done with those that a killed process left.

Every one is named `.NAME.moue-HOST-CHANCE.part` (or `.old`) and is locked by its writer while it lives: the system lets
go of the lock when the process ends, however it ends (flock(2)). So the next run that meets one in a folder knows its
owner, and removes it where that is this person and no process holds it any more. Where the lock cannot be asked, or the
name tells of another machine, only one that is older than a day goes, by the clock of the file system itself.
"""

from __future__ import annotations

import hashlib
import os
import platform
import re
import secrets
import shutil
import stat
from collections.abc import Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path

from composer.head.lock import is_locked, lock, unlock

OLD_SECONDS = 86_400.0
"""A leftover whose owner cannot be asked is removed at this age. A design choice, no source."""
NAME = re.compile(r"\.(?P<name>.{1,40})\.moue-(?P<host>[0-9a-f]{6})-[0-9a-f]{8}\.(part|old)", re.DOTALL)


class Beside:
    """A new hidden file or folder beside `path`, locked until `let_go`."""

    def __init__(self, path: Path, folder: bool = False) -> None:
        """Raises OSError where it cannot be made."""
        for _ in range(100):
            self.place = _hidden(path, "part")
            try:
                if folder:
                    self.place.mkdir(mode=0o700)
                    self.handle = -1
                else:
                    self.handle = os.open(self.place, os.O_RDWR | os.O_CREAT | os.O_EXCL | _FLAGS, 0o600)
            except FileExistsError:
                continue
            self._held = lock(self.place, wait=True)
            if self.place.exists():  # in the instant before the lock another run may have taken it for a leftover
                sweep(path.parent, self.place)
                return
            self.let_go()
        raise FileExistsError(f"no free name beside {path}")

    def taken(self) -> int:
        """The handle of a new file, open for writing, for the caller to close."""
        handle, self.handle = self.handle, -1
        return handle

    def let_go(self) -> None:
        """Let the lock go. What is still there is then a leftover for anybody."""
        if self.handle >= 0:
            with suppress(OSError):
                os.close(self.handle)
            self.handle = -1
        unlock(self._held)
        self._held = None

    def remove(self) -> None:
        """Remove it, where it is still there, and let go."""
        if self.place.is_dir():
            shutil.rmtree(self.place, ignore_errors=True)
        else:
            with suppress(OSError):
                self.place.unlink(missing_ok=True)
        self.let_go()


_FLAGS = getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOFOLLOW", 0)


def old_place(path: Path) -> Path:
    """A new hidden name beside `path` for what stood there."""
    return _hidden(path, "old")


def olds_of(path: Path) -> list[Path]:
    """What stood at `path` before an exchange that was interrupted, by name; nobody holds it."""
    return [each for each, name in _found(path.parent)
            if each.suffix == ".old" and name == path.name[:40] and not is_locked(each)]  # fmt: skip


def new_begun(path: Path) -> Path:
    """A new hidden name beside `path` for a list of what a save of several files is about to do."""
    return _hidden(path, "begun")


def begun_at(path: Path) -> list[Path]:
    """The lists that saves of `path` have left, because they were killed or are not done yet."""
    begins = re.compile(re.escape(f".{path.name[:40]}.moue-") + r"[0-9a-f]{6}-[0-9a-f]{8}\.begun")
    try:
        return [path.parent / name for name in os.listdir(path.parent) if begins.fullmatch(name)]
    except OSError:
        return []


def sweep(folder: Path, own: Path) -> None:
    """Remove what killed processes of this person left in a folder. `own` is a hidden file that was made just now: its
    time is the file system's own clock. What cannot be removed stays.
    """
    with suppress(OSError):
        now = own.stat().st_mtime
        for each, name in _found(folder):
            if each == own or (each.suffix == ".old" and not (folder / name).exists()):
                continue  # the old one is all there is: see `olds_of`
            if _is_ours(each):
                _remove_left(each, now)


def sweep_beside(path: Path) -> None:
    """`sweep` the folder of a file, where something can be written there."""
    with suppress(OSError):
        Beside(path).remove()


def _remove_left(place: Path, now: float) -> None:
    """Remove a leftover that nobody holds; while it goes it is locked, so that nobody takes it up."""
    match = NAME.fullmatch(place.name)
    held = lock(place) if match is not None and match["host"] == host_mark() else None
    try:
        if held is None and (is_locked(place) or now - place.lstat().st_mtime <= OLD_SECONDS):
            return
        if place.is_dir():
            shutil.rmtree(place, ignore_errors=True)
        else:
            place.unlink()
    finally:
        unlock(held)


def _found(folder: Path) -> Iterator[tuple[Path, str]]:
    """The hidden files and folders of Moue's in a folder, and the beginning of the name that each stands beside."""
    try:
        names = os.listdir(folder)
    except OSError:
        return
    for name in names:
        match = NAME.fullmatch(name)
        if match is not None:
            yield folder / name, match["name"]


def _is_ours(place: Path) -> bool:
    """Whether it belongs to this person, and is a plain file or folder."""
    held = place.lstat()
    mine = not hasattr(os, "geteuid") or held.st_uid == os.geteuid()
    return mine and (stat.S_ISREG(held.st_mode) or stat.S_ISDIR(held.st_mode))


def _hidden(path: Path, ending: str) -> Path:
    return path.parent / f".{path.name[:40]}.moue-{host_mark()}-{secrets.token_hex(4)}.{ending}"


@cache
def host_mark() -> str:
    """Six signs that tell this machine from others that may share a folder with it."""
    return hashlib.sha256(platform.node().encode("utf-8", "surrogatepass")).hexdigest()[:6]
