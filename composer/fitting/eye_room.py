"""Room for an eyeball behind the lids of a fitted head.

An eyeball that follows its lids by a similarity keeps their mean distance; where a lid of the new head is flatter than
the library's, the ball would stand through it. It moves back and becomes smaller, as little as it can, until no lid
lies much deeper in it than on the library. What stands out of a ball, such as a cornea, goes with it.

The least movement is that of Lawson and Hanson (1974, "Solving Least Squares Problems", chapter 23: least distance
programming): the least (shift, shrinking) under one inequality for each vertex of the lids.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls
from scipy.spatial import cKDTree

from composer.fitting.align import Similarity
from composer.geometry.vectors import unit_rows

Rows = NDArray[np.float64]

NEAR = 1.4
"""Lids lie within this many of the ball's radii from its centre (our choice)."""
ROUNDS = 8
"""Rounds, in each of which the inequalities are drawn up anew (our choice)."""
MOST, LEAST_SIZE = 0.3, 0.92
"""Furthest that the ball moves, as a share of its radius (some 3.5 mm), and how small it may become, as a share of its
size (our choice)."""
SHRINKING = 4.0
"""How much a share of its size costs, beside a shift of the same share of its radius (our choice)."""
ENOUGH = 0.001
"""How much deeper than on the library a lid may lie in the ball, as a share of its radius: 0.01 mm (our choice)."""


def room_behind_lids(
    ball: Rows, centre: Rows, lids: Rows, moved_lids: Rows, moved_centre: Rows, move: Similarity
) -> tuple[Rows, float]:
    """(3,) the shift in mm of an eyeball that brings it behind its lids, and how many times as large it is then.

    On the library: the vertices of the `ball` (k, 3), its `centre` (3,), and the skin about it, `lids` (l, 3), without
    the socket. On the new head: the same skin `moved_lids` (l, 3), the centre (3,) and the `move` of the ball, whose
    scale and rotation are used. All in mm. A ball need not be round: what lies under a lid of the new head counts.
    """
    off = lids - centre
    away = np.linalg.norm(off, axis=1)
    radius = np.linalg.norm(ball - centre, axis=1)
    close = away < NEAR * float(np.median(radius))
    shift, times = np.zeros(3), 1.0
    if not close.any():
        return shift, times
    size = move.scale * float(np.median(radius))
    directions = cKDTree(unit_rows(ball - centre))
    deep_there = np.maximum(radius[directions.query(unit_rows(off[close]))[1]] - away[close], 0.0)
    for _ in range(ROUNDS):
        between = moved_lids[close] - (moved_centre + shift)
        distance = np.linalg.norm(between, axis=1)
        toward = directions.query(unit_rows(between @ move.rotation))[1]
        wanted = move.scale * np.maximum(radius[toward] - deep_there, 0.0)
        deep = times * wanted - distance
        if deep.max() <= ENOUGH * size:
            break
        out = between / np.maximum(distance, 1e-12)[:, None]
        rows = np.concatenate([-out, (wanted / size / SHRINKING)[:, None]], axis=1)
        least = (wanted - distance) / size - out @ shift / size
        found = _least(rows, least)
        if found is None:
            break
        shift, times = size * found[:3], 1.0 - found[3] / SHRINKING
        long = float(np.linalg.norm(shift))
        if long > MOST * size or times < LEAST_SIZE:
            return shift * min(MOST * size / max(long, 1e-12), 1.0), max(times, LEAST_SIZE)
    return shift, times


def deeper_than_there(ball: Rows, centre: Rows, lids: Rows, moved_lids: Rows, move: Similarity) -> Rows:
    """(l,) mm, how much deeper skin lies in an eyeball than on the library, below 0 outside.

    On the library: the vertices of the `ball` (k, 3), its `centre` (3,) and the skin `lids` (l, 3). On the new head:
    the same skin `moved_lids` (l, 3) and the `move` of the ball.
    """
    radius = np.linalg.norm(ball - centre, axis=1)
    directions = cKDTree(unit_rows(ball - centre))
    off, between = lids - centre, moved_lids - move(centre)
    there = np.maximum(radius[directions.query(unit_rows(off))[1]] - np.linalg.norm(off, axis=1), 0.0)
    toward = directions.query(unit_rows(between @ move.rotation))[1]
    return move.scale * np.maximum(radius[toward] - there, 0.0) - np.linalg.norm(between, axis=1)


def _least(rows: Rows, least: Rows) -> Rows | None:
    """(c,) the shortest x with `rows` (r, c) times x at least `least` (r,); None where there is none."""
    system = np.concatenate([rows.T, least[None]])
    aim = np.zeros(len(system))
    aim[-1] = 1.0
    rest = system @ nnls(system, aim)[0] - aim
    return -rest[:-1] / rest[-1] if abs(rest[-1]) > 1e-12 else None
