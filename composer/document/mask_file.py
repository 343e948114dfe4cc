"""Masks and kept shapes as `.npy` files: one float a vertex, or three, never pickled."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import IO, TypeVar

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.polygons import read_only

MOST_PIXELS = 16384 * 16384


def read_mask(path: Path) -> NDArray[np.float64]:
    """(n,) the values in a `.npy` file. Raises MoueError for what is no plain mask or cannot be read."""
    if path.suffix.lower() != ".npy":
        raise MoueError("masks are read from .npy files", path, hint='for a picture say from = "image"')
    return _read(path, load_mask)


def load_mask(file: IO[bytes], where: Path | str) -> NDArray[np.float64]:
    """(n,) the values in an open `.npy`. Raises MoueError naming `where` for what is no plain mask."""
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

    Raises MoueError naming `where` for what is not three finite numbers a vertex.
    """
    return checked_delta(_load(file, where, "shape"), where)


def checked_delta(values: NDArray, where: Path | str, n_vertices: int | None = None) -> NDArray[np.float32]:
    """(n, 3) float32 mm, read-only; `values` themselves where they are so already.

    Raises MoueError naming `where` for another form, another number of vertices, or a number that is not finite.
    """
    if values.ndim != 2 or values.shape[1] != 3 or values.dtype.kind not in "fiu":
        raise MoueError("must hold three numbers a vertex", where)
    if n_vertices is not None and len(values) != n_vertices:
        raise MoueError(f"is a shape of {len(values)} vertices, the head has {n_vertices}", where)
    with np.errstate(over="ignore"):
        delta = np.asarray(values, dtype=np.float32)
    if not np.isfinite(delta).all():
        raise MoueError("holds a displacement that is not a number", where)
    if delta is values and not values.flags.writeable:
        return delta
    return read_only(np.array(delta))


Array = TypeVar("Array")


def _read(path: Path, load: Callable[[IO[bytes], Path], Array]) -> Array:
    try:
        with path.open("rb") as file:
            return load(file, path)
    except OSError as error:
        raise MoueError(f"cannot be read: {error.strerror or 'it is no array'}", path) from None


def _load(file: IO[bytes], where: Path | str, word: str) -> NDArray:
    try:
        values = np.load(file, allow_pickle=False)
    except (ValueError, EOFError, KeyError, TypeError, MemoryError):
        raise MoueError(f"is no plain .npy {word}", where) from None
    if not isinstance(values, np.ndarray):
        raise MoueError(f"is no plain .npy {word}", where)
    return values


def read_picture(path: Path) -> NDArray:
    """A greyscale picture (h, w), 8 or 16 bit, of a mask in UV. Raises MoueError for what is no picture.

    A picture with more pixels than a print of 16,384 squared is refused before it is unpacked.
    """
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(path) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise MoueError(f"is a picture of {picture.width} x {picture.height}, too large for a mask", path)
            deep = picture.mode.startswith("I")
            levels = np.asarray(picture) if deep else np.zeros(1)
            if picture.mode == "F" or levels.min() < 0 or levels.max() > 65535:
                raise MoueError("is no 8 or 16 bit picture", path, hint="save it as a grey PNG")
            if deep:
                return levels.astype(np.uint16)
            return np.asarray(picture.convert("L"))
    except (UnidentifiedImageError, Image.DecompressionBombError, ValueError, SyntaxError):
        raise MoueError("is no picture that can be read", path, hint="give a PNG") from None
    except OSError as error:
        raise MoueError(f"cannot be read: {error.strerror or 'it is damaged'}", path) from None


def mask_bytes(values: NDArray) -> bytes:
    """The `.npy` file of a mask (n,) or a kept shape (n, 3), float32."""
    held = io.BytesIO()
    np.save(held, np.asarray(values, dtype=np.float32), allow_pickle=False)
    return held.getvalue()
