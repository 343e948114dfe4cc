"""Masks and kept shapes as `.npy` files: one float a vertex, or three, never pickled."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import IO, TypeVar

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.npy import read_plain
from composer.geometry.polygons import read_only
from composer.head.pictures import open_picture
from composer.head.reading import open_regular, reading


def read_mask(path: Path) -> NDArray[np.float64]:
    """(n,) the values in a `.npy` file. Raises MoueError where it holds no mask or cannot be read."""
    if path.suffix.lower() != ".npy":
        raise MoueError("masks are read from .npy files", path, hint='for a picture say from = "image"')
    return _read(path, load_mask)


def load_mask(file: IO[bytes], where: Path | str) -> NDArray[np.float64]:
    """(n,) the values in an open `.npy`. Raises MoueError, with `where`, unless it holds one number a vertex."""
    values = _load(file, where, "mask")
    if values.ndim != 1 or values.dtype.kind not in "fiu":
        raise MoueError("must hold one number a vertex", where)
    return np.asarray(values, dtype=np.float64)


def read_delta(path: Path) -> NDArray[np.float32]:
    """(n, 3) mm, the displacement in a `.npy` file. Raises MoueError as `load_delta`, or where it cannot be read."""
    if path.suffix.lower() != ".npy":
        raise MoueError("kept shapes are read from .npy files", path)
    return _read(path, load_delta)


def load_delta(file: IO[bytes], where: Path | str) -> NDArray[np.float32]:
    """(n, 3) float32 mm, read-only, a kept shape in an open `.npy`.

    Raises MoueError, with `where`, unless it holds three finite numbers a vertex.
    """
    return checked_delta(_load(file, where, "shape"), where)


def checked_delta(values: NDArray, where: Path | str, n_vertices: int | None = None) -> NDArray[np.float32]:
    """(n, 3) float32 mm, read-only; `values` itself if it is so already.

    Raises MoueError, with `where`, for another shape, another number of vertices, or a number that is not finite.
    """
    if values.ndim != 2 or values.shape[1] != 3 or values.dtype.kind not in "fiu":
        raise MoueError("must hold three numbers a vertex", where)
    if n_vertices is not None and len(values) != n_vertices:
        raise MoueError(f"is a shape of {len(values)} vertices, the head has {n_vertices}", where)
    with np.errstate(over="ignore", invalid="ignore"):
        delta = np.asarray(values, dtype=np.float32)
    if not np.isfinite(delta).all():
        raise MoueError("holds a displacement that is not a number", where)
    if delta is values and not values.flags.writeable:
        return delta
    return read_only(np.array(delta))


Array = TypeVar("Array")


def _read(path: Path, load: Callable[[IO[bytes], Path], Array]) -> Array:
    with reading(path), open_regular(path) as file:
        return load(file, path)


def _load(file: IO[bytes], where: Path | str, word: str) -> NDArray:
    return read_plain(file, where, f"the {word}")


def read_picture(path: Path) -> NDArray:
    """A mask in UV as a grey picture (h, w), 8 or 16 bit. Raises MoueError for a file that is no picture and, before it
    is unpacked, for a picture that is too large (`composer.head.pictures`).
    """
    with open_picture(path) as picture:
        deep = picture.mode.startswith("I")
        levels = np.asarray(picture) if deep else np.zeros(1)
        if picture.mode == "F" or levels.min() < 0 or levels.max() > 65535:
            raise MoueError("is no 8 or 16 bit picture", path, hint="save it as a grey PNG")
        if deep:
            return levels.astype(np.uint16)
        return np.asarray(picture.convert("L"))


def mask_bytes(values: NDArray) -> bytes:
    """The `.npy` file of a mask (n,) or a kept shape (n, 3), float32."""
    held = io.BytesIO()
    np.save(held, np.asarray(values, dtype=np.float32), allow_pickle=False)
    return held.getvalue()
