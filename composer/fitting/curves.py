"""Landmark curves as polylines: places along them by arc length, and the closest place on them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.float64]


def lengths(line: Rows) -> Rows:
    """(k,) the arc length at each point of a polyline (k, 3), from 0 at its first to 1 at its last."""
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    return run / run[-1] if run[-1] > 0 else np.linspace(0.0, 1.0, len(line))


def resampled(line: Rows, like: Rows) -> Rows:
    """(m, 3) places on the polyline `line` (k, 3) at the arc lengths of the points on the polyline `like` (m, 3).

    Where both have the same number of points, the points of `line` are returned: they are pairs.
    """
    if len(line) == len(like):
        return np.array(line, dtype=np.float64)
    at, along = lengths(like), lengths(line)
    return np.stack([np.interp(at, along, line[:, i]) for i in range(3)], axis=1)


def on_polyline(points: Rows, line: Rows) -> tuple[Rows, Rows]:
    """The closest places (m, 3) on a polyline (k, 3) for `points` (m, 3) in order, and its unit direction there (m, 3).

    The first and the last point are held to the ends, where the direction is zero: they do not slide.
    """
    start, side = line[:-1], np.diff(line, axis=0)
    square = np.maximum((side * side).sum(1), 1e-300)
    off = points[:, None] - start[None]
    t = np.clip((off * side).sum(2) / square, 0.0, 1.0)
    at = start + t[..., None] * side
    best = ((points[:, None] - at) ** 2).sum(2).argmin(1)
    rows = np.arange(len(points))
    place, along = at[rows, best], side[best] / np.sqrt(square[best])[:, None]
    place[0], place[-1] = line[0], line[-1]
    along[0] = along[-1] = 0.0
    return place, along
