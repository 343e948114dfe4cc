"""Room for an eyeball behind the lids of a fitted head.

An eyeball that follows its lids by a similarity keeps their mean distance; where a lid of the new head is flatter than
the library's, the ball would stand through it. It moves back, away from the worst place, until no lid lies much deeper
in it than on the library.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.vectors import unit_rows

Rows = NDArray[np.float64]

NEAR = 1.4
"""Lids lie within this many of the ball's radii from its centre (our choice)."""
ROUNDS = 40
"""Most steps back (our choice)."""
MOST = 0.2
"""Furthest that the ball moves, as a share of its radius (our choice: some 2.5 mm)."""
ENOUGH = 0.01
"""How much deeper than on the library a lid may lie in the ball, as a share of its radius: some 0.1 mm (our choice)."""


def room_behind_lids(
    ball: Rows, centre: Rows, lids: Rows, moved_lids: Rows, moved_centre: Rows, scale: float
) -> Rows:
    """(3,) the shift in mm of an eyeball that brings it behind its lids.

    On the library: the vertices of the `ball` (k, 3), its `centre` (3,), and the skin about it, `lids` (l, 3), without
    the socket. On the new head: the same skin `moved_lids` (l, 3), the centre (3,) and the ball's `scale`. All in mm.
    """
    off = lids - centre
    away = np.linalg.norm(off, axis=1)
    radius = np.linalg.norm(ball - centre, axis=1)
    close = away < NEAR * float(np.median(radius))
    shift = np.zeros(3)
    if not close.any():
        return shift
    size = scale * float(np.median(radius))
    toward = cKDTree(unit_rows(ball - centre)).query(unit_rows(off[close]))[1]
    wanted = scale * np.minimum(away[close], radius[toward])
    for _ in range(ROUNDS):
        between = moved_lids[close] - (moved_centre + shift)
        deep = wanted - np.linalg.norm(between, axis=1)
        worst = int(np.argmax(deep))
        if deep[worst] <= ENOUGH * size:
            break
        step = shift - deep[worst] * unit_rows(between[worst][None])[0]
        if np.linalg.norm(step) > MOST * size:
            break
        shift = step
    return shift
