"""How many bytes targets will take on disk, before they are written."""

from __future__ import annotations

import tempfile
from pathlib import Path

from composer.formats.mesh import mesh_of
from composer.formats.registry import format_of, write_mesh
from composer.head.head import Head

DELTA_BYTES = 12
"""Of one vertex in one shape of a file that holds many: three numbers of four bytes, before they are packed."""


def bytes_of_targets(head: Head, count: int, suffix: str) -> int:
    """About how many bytes `count` targets and the neutral take in the format of `suffix`; for a format that holds many
    shapes at most so many. The neutral is written once, to a temporary folder, to know its size.
    """
    with tempfile.TemporaryDirectory(prefix="moue-") as folder:
        file = Path(folder) / f"neutral{suffix}"
        write_mesh(file, mesh_of(head, head.neutral))
        one = sum(each.stat().st_size for each in Path(folder).iterdir())
    if format_of(file, writing=True).many_shapes:
        return one + count * head.n_vertices * DELTA_BYTES
    if suffix == ".obj" and head.neutral_file is not None and head.neutral_file.is_file():
        one = max(one, head.neutral_file.stat().st_size)
    return one * (count + 1)


def said_bytes(count: int) -> str:
    """A number of bytes as a person says it: 812 kB, 5.6 GB (thousands, as disks are sold)."""
    for unit, size in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if count >= size:
            amount = count / size
            return f"{amount:.0f} {unit}" if amount >= 10 else f"{amount:.1f} {unit}"
    return f"{count} bytes"
