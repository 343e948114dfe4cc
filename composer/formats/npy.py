"""Arrays in numpy's format. Their headers are not trusted: sizes are checked before anything is unpacked.

Specification: numpy, "numpy.lib.format" (NEP 1). A header is a Python literal: numpy's reader raises the errors of a
tokenizer or a parser for a damaged one, and warns. Pickled objects are never read.
"""

from __future__ import annotations

import os
import warnings
from pathlib import Path
from typing import IO

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.head.reading import DAMAGE

MOST_EMPTY = 10**6
"""Elements of an array whose elements take no byte, such as empty texts: nothing else bounds them (our choice)."""
CHUNK = 2**20
"""Bytes that are read at a time, so that memory never holds a second copy of the array (our choice)."""


def read_header(file: IO[bytes], where: Path | str, name: str) -> tuple[tuple[int, ...], bool, np.dtype]:
    """Shape, whether it is stored by columns, and dtype of the array that begins here; the file is then at its body.

    Raises MoueError naming `where` ("NAME is not an array") for a damaged header, and for pickled objects.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            version = npy.read_magic(file)
            read = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
            shape, by_columns, kind = read(file)
        if version > (3, 0) or any(isinstance(side, bool) or side < 0 for side in shape):
            raise ValueError
        if not kind.hasobject and not kind.itemsize and kind.kind not in "SU":
            raise ValueError
        if not kind.itemsize and int(np.prod(shape, dtype=object)) > MOST_EMPTY:
            raise ValueError
    except DAMAGE:
        raise MoueError(f"{name} is not an array", where) from None
    if kind.hasobject:
        raise MoueError(f"{name} is pickled, which Moue does not open", where, hint="save plain arrays")
    return tuple(int(side) for side in shape), bool(by_columns), kind


def body_size(shape: tuple[int, ...], kind: np.dtype) -> int:
    """Bytes of the body of an array."""
    return int(np.prod(shape, dtype=object)) * kind.itemsize


def read_plain(file: IO[bytes], where: Path | str, name: str = "it") -> NDArray:
    """The array in an open `.npy` that can be seeked.

    Raises MoueError naming `where` for a file that is not an array, is pickled, or is smaller than its header says.
    """
    shape, by_columns, kind = read_header(file, where, name)
    size, begin = body_size(shape, kind), file.tell()
    available = file.seek(0, os.SEEK_END) - begin
    if size > available:
        raise MoueError(f"{name} is smaller than its header says", where, hint="the file is damaged")
    file.seek(begin)
    return read_body(file, shape, by_columns, kind, where, name)


def read_body(
    file: IO[bytes], shape: tuple[int, ...], by_columns: bool, kind: np.dtype, where: Path | str, name: str
) -> NDArray:
    """The array whose body begins here, as its header says it is. Raises MoueError where the file ends before it."""
    flat = np.zeros(int(np.prod(shape, dtype=object)), dtype=kind)
    view, got = memoryview(flat.view(np.uint8) if flat.nbytes else b""), 0
    while got < len(view):
        data = file.read(min(CHUNK, len(view) - got))
        if not data:
            raise MoueError(f"{name} is cut short", where, hint="the file is damaged")
        view[got : got + len(data)] = data
        got += len(data)
    return flat.reshape(shape, order="F" if by_columns else "C")
