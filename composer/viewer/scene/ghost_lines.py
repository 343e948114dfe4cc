"""The lines of a drawn face: its outline and what stands out in it, as a picture to lay over another face.

Faces laid over each other whole make a blur; their lines stay apart. A line is where brightness or cover changes fast:
the length of its gradient by central differences over the picture smoothed by a box of three pixels.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

GROUND = 100.0
"""How bright the ground counts: darker than skin in the light, brighter than skin in the shade."""
FAINT, FULL = 5.0, 30.0
"""Changes of brightness (of 255) a pixel below which nothing is drawn, and from which a line is whole; by eye."""


def lines_apart(picture: NDArray[np.uint8], other: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """(h, w, 4) white with a line's strength as its cover: the lines of a picture (h, w, 4) sRGB and cover that the
    other one does not have there. Pictures that are the same have none."""
    further = _strength(picture) - _widened(_strength(other))
    made = np.full(picture.shape, 255, dtype=np.uint8)
    made[:, :, 3] = np.round(255.0 * np.clip(further, 0.0, 1.0))
    return made


def _strength(picture: NDArray[np.uint8]) -> NDArray[np.float32]:
    """How much of a line there is at every pixel, in [0, 1]."""
    cover = picture[:, :, 3].astype(np.float32) / np.float32(255.0)
    bright = picture[:, :, :3].astype(np.float32) @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    steep = _steep(_smoothed(bright * cover + np.float32(GROUND) * (np.float32(1.0) - cover)))
    return np.clip((steep - FAINT) / (FULL - FAINT), 0.0, 1.0)


def _widened(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """The largest of three by three pixels."""
    held = np.pad(values, 1, mode="edge")
    rows = np.maximum(np.maximum(held[:-2], held[1:-1]), held[2:])
    return np.maximum(np.maximum(rows[:, :-2], rows[:, 1:-1]), rows[:, 2:])


def _smoothed(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """The mean of three by three pixels."""
    held = np.pad(values, 1, mode="edge")
    rows = held[:-2] + held[1:-1] + held[2:]
    return (rows[:, :-2] + rows[:, 1:-1] + rows[:, 2:]) / np.float32(9.0)


def _steep(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """The length of the gradient a pixel."""
    down, across = np.gradient(values)
    return np.asarray(np.hypot(down, across), dtype=np.float32)
