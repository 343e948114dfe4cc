"""The text behind the vertices of an OBJ, made once for all targets of one library.

Targets differ in their `v` lines alone. A short text is kept in memory, a long one in a file without a name
(`composer.head.aside`), from which it is copied: at 5.8 million vertices it is 450 MB, and writing it anew takes three
times as long as the vertices.
"""

from __future__ import annotations

import mmap
import os
from collections.abc import Callable
from contextlib import suppress
from io import BytesIO
from typing import IO, cast
from weakref import WeakKeyDictionary, finalize

from composer.formats.mesh import Mesh
from composer.geometry.polygons import Polygons
from composer.head.aside import file_aside

SHORT = 1 << 20
"""Corners up to which the text is kept in memory: some 15 MB (our choice)."""
PIECE = 1 << 22
"""Bytes that are copied at a time, a multiple of every system's pages (our choice)."""
Make = Callable[[IO[bytes], Mesh], None]


def write_once(file: IO[bytes], mesh: Mesh, make: Make) -> None:
    """Write to `file` what `make(file, mesh)` writes for a mesh, which depends on its polygons, texture coordinates and
    names alone: made for the first target, copied for those with the very same after it."""
    kept = _texts.get(mesh.polygons)
    if kept is not None and kept.is_of(mesh):
        kept.copy(file)
        return
    kept = None
    if len(mesh.polygons.indices) <= SHORT:
        kept = _Text(mesh, BytesIO())
        make(kept.held, mesh)
        kept.copy(file)
    else:
        with suppress(OSError):  # where nothing can be laid aside, it is made again each time
            kept = _Text(mesh, file_aside())
        make(file if kept is None else cast(IO[bytes], _Both(file, kept)), mesh)
    if kept is not None and kept.whole:
        _texts[mesh.polygons] = kept


class _Text:
    """A text `held` in memory or in a file without a name, what it was made of, and whether it is `whole`."""

    def __init__(self, mesh: Mesh, held: IO[bytes]) -> None:
        self.of, self.held, self.whole = self._parts(mesh), held, True
        finalize(self, held.close)

    @staticmethod
    def _parts(mesh: Mesh) -> list[object]:
        names = (mesh.objects, mesh.groups, mesh.materials)
        named = [part for held in names for part in (len(held), *held, *held.values())]
        return [mesh.uv and mesh.uv.uv, mesh.uv and mesh.uv.indices, *named]

    def is_of(self, mesh: Mesh) -> bool:
        """Whether the mesh has the very same corners and names; an equal copy counts as another."""
        parts = self._parts(mesh)
        return len(parts) == len(self.of) and all(
            mine is theirs or (isinstance(mine, str | int) and mine == theirs)
            for mine, theirs in zip(self.of, parts, strict=True)
        )

    def copy(self, file: IO[bytes]) -> None:
        """Write the text to a file."""
        if isinstance(self.held, BytesIO):
            file.write(self.held.getbuffer())
            return
        number = self.held.fileno()
        size = os.fstat(number).st_size
        for begin in range(0, size, PIECE):  # mapped, for processes that were forked share the place in the file
            with mmap.mmap(number, min(PIECE, size - begin), access=mmap.ACCESS_READ, offset=begin) as piece:
                file.write(piece)


class _Both:
    """A file that is written, beside which a text is kept as long as there is room for it."""

    def __init__(self, file: IO[bytes], kept: _Text) -> None:
        self.file, self.kept = file, kept

    def write(self, text: bytes) -> None:
        """Write to both."""
        self.file.write(text)
        if self.kept.whole:
            try:
                self.kept.whole = self.kept.held.write(text) == len(text)
            except OSError:
                self.kept.whole = False


_texts: WeakKeyDictionary[Polygons, _Text] = WeakKeyDictionary()
