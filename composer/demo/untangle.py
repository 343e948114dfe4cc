"""Quads made flat and convex where they are not, by small moves of their own corners.

The defect of a quad p0 p1 p2 p3 is d = (p0 - p1 + p2 - p3) / 4: taking d from the even corners and giving it to the odd
ones makes a parallelogram; taking only its part along the quad's normal makes the quad flat. Quads that are too
bent get the second, quads with a corner that is nearly straight or turned in get the first, a part at a time, until
none is left or the steps are spent.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.float64]
_SIGN = np.array([1.0, -1.0, 1.0, -1.0])


def corner_sines(points: Rows) -> Rows:
    """(m, 4) sine of the turn at every corner of quads (m, 4, 3) about the quad's normal; 0 or less is not convex."""
    ahead = np.roll(points, -1, axis=1) - points
    behind = np.roll(ahead, 1, axis=1)
    turn = (np.cross(behind, ahead) * normals(points)[:, None]).sum(2)
    return turn / np.maximum(np.linalg.norm(ahead, axis=2) * np.linalg.norm(behind, axis=2), 1e-12)


def normals(points: Rows) -> Rows:
    """(m, 3) unit normals of quads (m, 4, 3), from their diagonals."""
    n = np.cross(points[:, 2] - points[:, 0], points[:, 3] - points[:, 1])
    return n / np.maximum(np.linalg.norm(n, axis=1, keepdims=True), 1e-12)


def warp_deg(points: Rows) -> Rows:
    """(m,) how far quads (m, 4, 3) are from flat: the larger fold along their two diagonals, in degrees."""
    folds = []
    for a, b, c, d in ((0, 1, 2, 3), (1, 2, 3, 0)):
        one = np.cross(points[:, b] - points[:, a], points[:, c] - points[:, a])
        other = np.cross(points[:, c] - points[:, a], points[:, d] - points[:, a])
        length = np.linalg.norm(one, axis=1) * np.linalg.norm(other, axis=1)
        folds.append(np.arccos(np.clip((one * other).sum(1) / np.maximum(length, 1e-12), -1, 1)))
    return np.degrees(np.max(folds, axis=0))


def untangle(
    positions: Rows,
    quads: NDArray[np.int64],
    freedom: Rows,
    flat: NDArray[np.bool_],
    midline: NDArray[np.bool_],
    *,
    least_sine: float = 0.10,
    most_warp_deg: float = 26.0,
    steps: int = 120,
) -> None:
    """Move `positions` (n, 3) in place until every quad is convex and those in `flat` (m,) are nearly flat.

    `freedom` (n,) in [0, 1] scales each vertex's moves, 0 holds it; `midline` vertices keep x = 0.
    """
    for _ in range(steps):
        points = positions[quads]
        inward = corner_sines(points).min(1) < least_sine
        bent = flat & (warp_deg(points) > most_warp_deg)
        if not (inward.any() or bent.any()):
            return
        defect = (points * _SIGN[:, None]).sum(1) / 4
        n = normals(points)
        move = np.where(inward[:, None], defect, n * (defect * n).sum(1, keepdims=True))
        at_fault = inward | bent
        chosen, by = quads[at_fault], move[at_fault]
        total, count = np.zeros_like(positions), np.zeros(len(positions))
        for k in range(4):
            np.add.at(total, chosen[:, k], -0.5 * _SIGN[k] * by)
            np.add.at(count, chosen[:, k], 1.0)
        positions += freedom[:, None] * total / np.maximum(count, 1.0)[:, None]
        positions[midline, 0] = 0.0
