"""The skin's texture, where a picture lies beside the head's files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.head.head import Head
from composer.head.pictures import SUFFIXES, open_picture

NAMES = ("skin", "texture", "colour", "color", "albedo", "diffuse")
MOST_PIXELS = 4096


def texture_of(head: Head) -> NDArray[np.uint8] | None:
    """(h, w, 3) uint8 of the picture named skin, texture, colour or the like beside the head's files;
    None where there is none, it cannot be read, or the head has no texture coordinates."""
    if head.uv is None or head.path is None:
        return None
    folder = head.path if head.path.is_dir() else head.path.parent
    try:
        pictures = sorted(p for p in folder.iterdir() if p.suffix.lower() in SUFFIXES)
    except OSError:
        return None
    named = [p for p in pictures if any(p.stem.lower().startswith(name) for name in NAMES)]
    return _read(named[0]) if named else None


def _read(path: Path) -> NDArray[np.uint8] | None:
    try:
        with open_picture(path) as picture:
            picture.draft("RGB", (MOST_PIXELS, MOST_PIXELS))
            picture.thumbnail((MOST_PIXELS, MOST_PIXELS))
            return np.ascontiguousarray(np.asarray(picture.convert("RGB"), dtype=np.uint8))
    except MoueError:
        return None
