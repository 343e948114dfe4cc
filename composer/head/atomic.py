"""Writing a file whole or not at all: beside it first, flushed, then renamed over it in one step."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import IO

from composer.errors import MoueError


def write_whole(path: Path | str, fill: Callable[[IO[bytes]], object], sync: bool = True) -> None:
    """Call `fill(file)` on a new binary file beside `path`, then put it in the place of `path`.

    Whatever happens in between, `path` holds its old content or all of the new; with `sync`, that also goes
    for a loss of power (big files that can be made again may do without). Raises MoueError where the
    folder cannot be written; errors of `fill` itself pass through, and leave nothing behind.
    """
    path = Path(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".part", dir=path.parent)
    except OSError as error:
        raise MoueError(f"cannot write here: {error.strerror}", path, mend="choose another folder") from None
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            fill(file)
            file.flush()
            if sync:
                os.fsync(file.fileno())
        os.chmod(beside, 0o666 & ~_umask())
        os.replace(beside, path)
    except OSError as error:
        raise MoueError(f"cannot be written: {error.strerror or error}", path) from None
    finally:
        with contextlib.suppress(FileNotFoundError):
            beside.unlink()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
