"""The files of the real library that measures read: `MOUE_REAL` names the folder that holds its archive."""

from __future__ import annotations

import os
import tarfile
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from composer.errors import MoueError

ARCHIVE = Path("library_a") / "library_a.tar.xz"


@contextmanager
def real_files(left_out: str) -> Iterator[Path]:
    """The folder of the library's OBJ files, unpacked for so long. Raises MoueError where MOUE_REAL names no such
    library; `left_out` says what is not measured then ("sheet is left out")."""
    named = os.environ.get("MOUE_REAL", "")
    archive = Path(named) / ARCHIVE
    if not named or not archive.is_file():
        raise MoueError(f"{left_out}: MOUE_REAL names no folder that holds {ARCHIVE}")
    with tempfile.TemporaryDirectory() as place:
        with tarfile.open(archive) as tar:
            tar.extractall(place, filter="data")
        yield next(iter(sorted(Path(place).rglob("*.obj")))).parent
