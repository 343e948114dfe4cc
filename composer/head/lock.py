"""Locks that the system lets go of when a process ends, however it ends: flock(2) on files and folders.

Where the system has none (`fcntl` is missing, or the file system refuses), nothing is locked and nobody is told so.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

_FLAGS = getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0)


def lock(place: Path, wait: bool = False) -> int | None:
    """Lock a file or folder that is there; returns what `unlock` takes, None where it is not locked: another holds it
    (with `wait` that is waited for), it is gone, or the system has no locks.
    """
    handle = _opened(place)
    if handle is None:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError:
        os.close(handle)
        return None
    except BaseException:
        os.close(handle)
        raise
    return handle


def unlock(held: int | None) -> None:
    """Let go of a lock."""
    if held is not None:
        with suppress(OSError):
            os.close(held)


_alone: dict[Path, int] = {}
"""How often this process holds the place of a document."""


@contextmanager
def alone_with(path: Path, waits: Callable[[], object] = lambda: None) -> Iterator[None]:
    """While this runs, no other Moue that asks here writes the document at `path`; where one does, `waits` is called
    and its end waited for. Within one process it may be asked for again. Nothing is held where nothing can be written.
    """
    place = path.resolve()
    place = place.parent / f".{place.name[:40]}.moue-lock"
    handle = None
    if fcntl is not None and not _alone.get(place):
        handle = _held_alone(place, waits)
    _alone[place] = _alone.get(place, 0) + 1
    try:
        yield
    finally:
        _alone[place] -= 1
        if handle is not None:
            with suppress(OSError):
                place.unlink()
            os.close(handle)


def _held_alone(place: Path, waits: Callable[[], object]) -> int | None:
    told = False
    while True:
        try:
            handle = os.open(place, os.O_RDWR | os.O_CREAT | _FLAGS, 0o600)
        except OSError:
            return None
        try:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if not told:
                    waits()
                told = True
                fcntl.flock(handle, fcntl.LOCK_EX)
            if place.exists() and os.path.samestat(os.fstat(handle), place.stat()):
                return handle
            os.close(handle)  # whoever held it has removed it
        except OSError:
            os.close(handle)
            return None
        except BaseException:
            os.close(handle)
            raise


def is_locked(place: Path) -> bool | None:
    """Whether any process holds a file or folder, this one included; None where that cannot be known."""
    handle = _opened(place)
    if handle is None:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return True if error.errno in (errno.EWOULDBLOCK, errno.EACCES) else None
    finally:
        os.close(handle)
    return False


def _opened(place: Path) -> int | None:
    """A handle that can be locked; None where the system has no locks, or the place is gone or refused."""
    if fcntl is None:
        return None
    try:
        return os.open(place, os.O_RDONLY | _FLAGS)
    except OSError:
        return None
