"""Writing a file atomically: to a temporary file beside it, flushed, then renamed over it."""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import IO

from composer.errors import MoueError, cannot


def write_whole(path: Path | str, fill: Callable[[IO[bytes]], object], sync: bool = True) -> None:
    """Call `fill(file)` on a new binary file beside `path`, then put it in the place of `path`.

    `path` always holds its old content or all of the new; with `sync` also after a loss of power. Large files that
    can be recreated may do without. Raises MoueError where the folder cannot be written. Errors of `fill` pass
    through; the temporary file is then removed.
    """
    given, path = Path(path), _real(Path(path))
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".part", dir=path.parent)
    except OSError as error:
        raise MoueError(f"cannot write here: {error.strerror}", given, hint="choose another folder") from None
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            fill(file)
            file.flush()
            if sync:
                os.fsync(file.fileno())
        os.chmod(beside, path.stat().st_mode & 0o7777 if path.exists() else 0o666 & ~_umask())
        os.replace(beside, path)
    except OSError as error:
        raise cannot("written", given, error) from None
    finally:
        with contextlib.suppress(FileNotFoundError):
            beside.unlink()


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
