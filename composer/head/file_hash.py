"""The hash of what a file holds, by which Moue knows its own files again."""

from __future__ import annotations

import hashlib
from pathlib import Path


def file_hash(path: Path) -> str:
    """The SHA-256 (FIPS 180-4, 2015) of a file's bytes, in hex. Raises OSError where it cannot be read."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
