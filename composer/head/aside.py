"""Large arrays laid aside: kept in a file without a name that is mapped into memory, so that the system can let go of
what is not used just now.

A library of sixty shapes at 2.6 million vertices is 1.9 GB; mapped, it stays within what is free. The file goes with
the last array that uses it, and with the process however that ends: on POSIX it has no name from the beginning
(POSIX.1-2017, unlink), on Windows it is deleted as it is closed.
"""

from __future__ import annotations

import mmap
import os
import tempfile
from functools import cache
from pathlib import Path
from typing import IO

import numpy as np
import platformdirs
from numpy.typing import NDArray

LEAST_BYTES = 4 * 2**20
"""Arrays from this size on are laid aside: a displacement of 350,000 vertices (our choice)."""
PIECE = 1 << 20
"""Bytes that are written at a time (our choice)."""


def aside(values: NDArray) -> NDArray:
    """The same values, read only, laid aside where they are large; the array itself, where they are small or already
    lie there, or where no file can be written."""
    if values.nbytes < LEAST_BYTES or lies_aside(values):
        return values
    values = np.ascontiguousarray(values)
    try:
        with file_aside() as file:
            flat = memoryview(values).cast("B")
            for start in range(0, len(flat), PIECE):
                file.write(flat[start : start + PIECE])
            mapped = mmap.mmap(file.fileno(), values.nbytes, access=mmap.ACCESS_READ)
    except OSError:
        return values
    return np.frombuffer(mapped, dtype=values.dtype).reshape(values.shape)


def file_aside() -> IO[bytes]:
    """A new file without a name where large things are laid aside, empty. Raises OSError where none can be made."""
    return tempfile.TemporaryFile(dir=_folder(), buffering=0)


def lies_aside(values: NDArray) -> bool:
    """Whether the values of an array lie in a mapped file."""
    base: object = values
    while isinstance(base, np.ndarray):
        base = base.base
    return isinstance(base.obj if isinstance(base, memoryview) else base, mmap.mmap)


@cache
def _folder() -> str | None:
    """Where large arrays are laid aside: a person's own cache, which is on a disk where the system's temporary folder
    may be memory. `MOUE_ASIDE` names another. None, for the system's, where it cannot be made."""
    folder = Path(os.environ.get("MOUE_ASIDE") or platformdirs.user_cache_dir("moue", appauthor=False))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return str(folder) if os.access(folder, os.W_OK) else None
