"""A mask as a `.npy` file: one float a vertex, never pickled."""

from __future__ import annotations

import io
from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError

MOST_PIXELS = 16384 * 16384


def read_mask(path: Path) -> NDArray[np.float64]:
    """(n,) the values in a `.npy` file. Raises MoueError for what is no plain mask or cannot be read."""
    if path.suffix.lower() != ".npy":
        raise MoueError("masks are read from .npy files", path, mend='for a picture say from = "image"')
    try:
        with path.open("rb") as file:
            return load_mask(file, path)
    except OSError as error:
        raise MoueError(f"cannot be read: {error.strerror or 'no mask'}", path) from None


def load_mask(file: IO[bytes], where: Path | str) -> NDArray[np.float64]:
    """(n,) the values in an open `.npy`. Raises MoueError naming `where` for what is no plain mask."""
    try:
        values = np.load(file, allow_pickle=False)
    except (ValueError, EOFError, KeyError, TypeError, MemoryError):
        raise MoueError("is no plain .npy mask", where) from None
    if not isinstance(values, np.ndarray) or values.ndim != 1 or values.dtype.kind not in "fiu":
        raise MoueError("must hold one number a vertex", where)
    return np.asarray(values, dtype=np.float64)


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
                raise MoueError("is no 8 or 16 bit picture", path, mend="save it as a grey PNG")
            if deep:
                return levels.astype(np.uint16)
            return np.asarray(picture.convert("L"))
    except (UnidentifiedImageError, Image.DecompressionBombError, ValueError, SyntaxError):
        raise MoueError("is no picture that can be read", path, mend="give a PNG") from None
    except OSError as error:
        raise MoueError(f"cannot be read: {error.strerror or 'it is damaged'}", path) from None


def mask_bytes(values: NDArray) -> bytes:
    """The `.npy` file of a mask (n,), float32."""
    held = io.BytesIO()
    np.save(held, np.asarray(values, dtype=np.float32), allow_pickle=False)
    return held.getvalue()
