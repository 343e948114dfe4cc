"""Positions that a mesh of a head cannot have: not a number, or far beyond any head."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError

FARTHEST = 1e9
"""Largest coordinate, in the file's unit (our choice): a head in micrometres is a thousand times smaller."""


def check_positions(
    positions: NDArray, path: Path | str, line_of: Callable[[int], int] | None = None, what: str = "vertex"
) -> None:
    """Raise MoueError where one of `positions` (n, 3) is not finite or farther than FARTHEST from the origin.

    `line_of` gives the file's line of a vertex, where it has lines.
    """
    if not positions.size:
        return
    low, high = positions.min(), positions.max()
    if low >= -FARTHEST and high <= FARTHEST:
        return
    with np.errstate(invalid="ignore"):
        wrong = ~(np.abs(positions) <= FARTHEST).all(axis=1)
    vertex = int(np.argmax(wrong))
    place = ", ".join(f"{v:.6g}" for v in positions[vertex])
    line = line_of(vertex) if line_of else None
    finite = bool(np.isfinite(positions[vertex]).all())
    why = "is further from the origin than any head" if finite else "has a position that is not a number"
    raise MoueError(f"{what} {vertex} {why}: {place}", path, line)
