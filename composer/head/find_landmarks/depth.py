"""A map of how far ahead the skin lies, in cells of half a millimetre, and vertical profiles through it."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Floats = NDArray[np.float64]
FACING = 0.02
"""Sine of the least angle by which a triangle faces the front."""
SMOOTH = np.array([1.0, 2.0, 3.0, 2.0, 1.0]) / 9.0


class DepthMap:
    """The furthest ahead of triangles that face the front, by lateral and up. Places in mm, in the head's frame."""

    def __init__(self, places: Floats, triangles: NDArray, cell: float, low: Floats, high: Floats) -> None:
        """Take places (n, 3), triangles (t, 3), the cell's side and the corners `low`, `high` (2,) of the map, mm."""
        self.cell, self.low = cell, np.asarray(low, dtype=np.float64)
        size = np.ceil((np.asarray(high) - self.low) / cell).astype(int) + 1
        self.depth = np.full(tuple(size), -np.inf)
        corners = places[triangles]
        middle = corners[:, :, :2].mean(axis=1)
        corners = corners[((middle > self.low) & (middle < high)).all(axis=1)]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        doubled = np.linalg.norm(normal, axis=1)
        corners, doubled = (each[normal[:, 2] > FACING * doubled] for each in (corners, doubled))
        steps = np.clip(np.ceil(np.sqrt(doubled / 2.0) / cell * 2.2).astype(int), 2, 40)
        for count in np.unique(steps):
            weights = barycentric_grid(int(count))
            self._fill(np.einsum("gk,mkx->mgx", weights, corners[steps == count]).reshape(-1, 3))

    def _fill(self, points: Floats) -> None:
        index = ((points[:, :2] - self.low) / self.cell).astype(int)
        inside = ((index >= 0) & (index < self.depth.shape)).all(axis=1)
        np.maximum.at(self.depth, (index[inside, 0], index[inside, 1]), points[inside, 2])

    def at(self, lateral: NDArray | float, up: NDArray | float) -> Floats:
        """How far ahead the skin lies at these places, mm; -inf where there is none."""
        i = ((np.asarray(lateral) - self.low[0]) / self.cell).astype(int)
        j = ((np.asarray(up) - self.low[1]) / self.cell).astype(int)
        return self.depth[np.clip(i, 0, self.depth.shape[0] - 1), np.clip(j, 0, self.depth.shape[1] - 1)]

    def about(self, lateral: float, up: float) -> float:
        """The furthest ahead within a cell of a place, mm; -inf where there is none."""
        steps = np.array([-1.0, 0.0, 1.0]) * self.cell
        return float(self.at(lateral + steps[:, None], up + steps[None]).max())

    def profile(self, lateral: float, up: Floats) -> Floats:
        """How far ahead the skin lies along `up` (k,) evenly spaced, at a lateral place: gaps bridged, a slit such as
        that between lips closed, smoothed over five samples. NaN where fewer than four samples hit the skin.
        """
        steps = np.array([-0.6, 0.0, 0.6])[:, None] * self.cell
        seen = self.at(np.broadcast_to(lateral + steps, (3, len(up))), np.broadcast_to(up, (3, len(up)))).max(axis=0)
        known = np.isfinite(seen)
        if int(known.sum()) < 4:
            return np.full(len(up), np.nan)
        ahead = np.interp(up, up[known], seen[known])
        step = max(float(up[1] - up[0]), 1e-9)
        half = max(1, int(2.5 * (self.cell / 0.5) / step))
        widest = sliding_window_view(np.pad(ahead, half, mode="edge"), 2 * half + 1).max(axis=1)
        closed = sliding_window_view(np.pad(widest, half, mode="edge"), 2 * half + 1).min(axis=1)
        ahead = np.where(closed - ahead > 12.0 * step, closed, ahead)
        return np.convolve(np.pad(ahead, 2, mode="edge"), SMOOTH, mode="valid")


def barycentric_grid(count: int) -> Floats:
    """(g, 3) weights of the points of a triangle cut into `count` steps a side."""
    a, b = np.meshgrid(np.arange(count + 1), np.arange(count + 1))
    inside = (a + b) <= count
    return np.stack([a[inside], b[inside], count - a[inside] - b[inside]], axis=1) / count


def behind_chord(up: Floats, ahead: Floats, first: int, last: int) -> int:
    """The sample between two at which a profile lies furthest behind the chord that joins them."""
    a, b = min(first, last), max(first, last)
    along = np.arange(a, b + 1)
    way = np.array([up[b] - up[a], ahead[b] - ahead[a]])
    normal = np.array([-way[1], way[0]])
    off = np.stack([up[along] - up[a], ahead[along] - ahead[a]], axis=1) @ normal
    return int(along[np.argmin(off * np.sign(normal[1] or 1.0))])


def convexity(up: Floats, ahead: Floats, half: int) -> Floats:
    """(k,) mm by which each sample stands before the chord of those `half` samples off; -inf at the ends."""
    out = np.full(len(ahead), -np.inf)
    if len(ahead) <= 2 * half:
        return out
    slope = (ahead[2 * half :] - ahead[: -2 * half]) / (up[2 * half :] - up[: -2 * half])
    stands = ahead[half:-half] - (ahead[2 * half :] + ahead[: -2 * half]) / 2.0
    out[half:-half] = stands / np.sqrt(1.0 + slope**2)
    return out


def along(line: Floats, share: float) -> Floats:
    """(3,) the place at a share of a broken line (k, 3), by length."""
    length = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
    return np.array([np.interp(share * length[-1], length, line[:, k]) for k in range(3)])
