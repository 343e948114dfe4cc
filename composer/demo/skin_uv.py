"""The skin's texture coordinates: one chart for the outside, opened along the back of the head, and six small ones.

Subject's left lies at the right of the picture's middle, as when facing the head. The mouth's interior, the sockets
and the nostrils have charts of their own in the strip at the right.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.layout import COLUMNS, ROWS, Layout
from composer.demo.primitives import rise
from composer.demo.uv import disk_uv, embed

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]
_ISLANDS = {
    "mouth_interior": (0.81, 0.70, 0.18), "socket_left": (0.905, 0.60, 0.085), "socket_right": (0.81, 0.60, 0.085),
    "nostril_left": (0.905, 0.90, 0.06), "nostril_right": (0.81, 0.90, 0.06),
}  # fmt: skip  # left, bottom and size of each cell


def skin_uv(layout: Layout, positions: Rows, quads: Ints, mirror: Ints, group: NDArray) -> Rows:
    """(m, 4, 2) in [0, 1] for every corner of the skin's quads; `group` (m,) names the group of each."""
    seam = np.concatenate([layout.grid[COLUMNS, ROWS::-1], layout.cap[0, -2:5:-1]])
    n = len(positions)
    twin = np.arange(n)
    twin[seam[:-1]] = n + np.arange(len(seam) - 1)
    opened = quads.copy()
    right = np.arange(len(quads)) >= len(quads) // 2
    opened[right] = twin[opened[right]]
    points = np.concatenate([positions, positions[seam[:-1]]])

    left_bottom = layout.grid[:, ROWS]
    border = np.concatenate([left_bottom[:-1], seam, twin[seam[-2::-1]], mirror[left_bottom[1:-1]][::-1]])
    at = _border_places(points, left_bottom, seam)
    level = 1 - rise(np.abs(points[:, 1] + 32), 90, 130)
    ears, front = rise(points[:, 2], -75.0, -20.0) * level, rise(points[:, 2], 10.0, 70.0) * level
    flat = embed(opened, points, border, at, soft=1 + 6 * ears + 4 * front)  # ears and face take more room
    out = flat[opened] * np.array([0.78, 0.98]) + 0.01
    for name, (u, v, size) in _ISLANDS.items():
        inside = np.flatnonzero(group == name)
        out[inside] = disk_uv(quads[inside], positions) * size + np.array([u, v])
    return out


def _border_places(points: Rows, bottom: Ints, seam: Ints) -> Rows:
    """Where the border goes: neck along the bottom, the seam up the sides and in along the top."""

    def lengths(ids: Ints) -> Rows:
        step = np.linalg.norm(np.diff(points[ids], axis=0), axis=1)
        return np.concatenate([[0], np.cumsum(step)]) / step.sum()

    x = 0.5 + 0.5 * lengths(bottom)
    base = np.stack([x, 0 * x], axis=1)
    along = lengths(seam)
    corner = int(np.argmin(np.abs(along - 0.72)))
    up = along[: corner + 1] / along[corner]
    inward = (along[corner:] - along[corner]) / (1 - along[corner])
    top = np.stack([1 - 0.5 * inward[1:], 1 + 0 * inward[1:]], axis=1)
    side = np.concatenate([np.stack([1 + 0 * up, up], axis=1), top])
    flip = np.array([-1.0, 1.0])
    shift = np.array([1.0, 0.0])
    return np.concatenate([base[:-1], side, (side[:-1][::-1]) * flip + shift, base[1:-1][::-1] * flip + shift])
