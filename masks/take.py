"""Ground taken from the neighbours: where a region was painted over others, they give way instead of sharing.

Two regions painted at 1 on the same place get half each. Taking scales the neighbours' masks there so that the region
gets what was painted: with the locked masks L, its own mask a and the sum U of the others, each of the others becomes
b min(1, (1 - L - a) / U), and nothing where the bracket is below zero.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from composer.errors import MoueError
from composer.geometry.surface import Floats
from masks.mask import checked_values


def take(own: ArrayLike, others: Sequence[ArrayLike], locked: Sequence[bool], over: ArrayLike | None = None) -> Floats:
    """The raw masks (r, n) of the `others` of a set once they give way to the raw mask `own` (n,). Locked ones, one
    flag each, give nothing. `over` (n,) bool limits it to some vertices.

    Raises MoueError where lengths do not fit or a value is outside [0, 1].

    >>> take([1.0, 0.5, 0.0], [[1.0, 0.5, 1.0], [0.0, 0.5, 0.5]], [False, False]).tolist()
    [[0.0, 0.25, 1.0], [0.0, 0.25, 0.5]]
    """
    mask = checked_values(own)
    given = np.zeros((len(others), len(mask)))
    for row, other in enumerate(others):
        given[row] = checked_values(other, len(mask), f"mask of region {row}")
    held = np.asarray(locked, dtype=bool)
    if held.shape != (len(others),):
        raise MoueError(f"{held.size} locks for {len(others)} regions")
    room = np.clip(1.0 - np.minimum(given[held].sum(axis=0), 1.0) - mask, 0.0, 1.0)
    wanted = given[~held].sum(axis=0)
    factor = np.ones_like(mask)
    np.divide(room, wanted, out=factor, where=(wanted > room) & (mask > 0.0))
    if over is not None:
        factor = np.where(np.asarray(over, dtype=bool), factor, 1.0)
    given[~held] *= factor
    return given
