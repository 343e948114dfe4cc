"""Signed distances of a few round bodies, and how to join them softly. Points are (m, 3) in mm, distances (m,).

Ellipsoids use the first-order bound k0 (k0 - 1) / k1 (k0 = |p / r|, k1 = |p / r^2|), capsules are exact, and
bodies are joined by the polynomial smooth minimum of radius k, which equals the plain minimum where the two
distances differ by more than k. Negative inside.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Points = NDArray[np.float64]
Distances = NDArray[np.float64]


def join(a: Distances, b: Distances, k: float | Distances) -> Distances:
    """The union of two bodies, rounded over `k` mm where they meet."""
    h = np.clip(0.5 + 0.5 * (b - a) / k, 0.0, 1.0)
    return b * (1 - h) + a * h - k * h * (1 - h)


def cut(a: Distances, b: Distances, k: float) -> Distances:
    """The first body without the second, rounded over `k` mm."""
    return -join(-a, b, k)


def ellipsoid(
    p: Points, centre: ArrayLike, radii: ArrayLike, roll: float = 0.0, yaw: float = 0.0, tilt: float = 0.0
) -> Distances:
    """An ellipsoid turned by `roll` degrees about z, then `yaw` about y, then `tilt` about x."""
    q = p - np.asarray(centre, dtype=float)
    x, y, z = q[:, 0], q[:, 1], q[:, 2]
    if roll:
        c, s = np.cos(np.radians(roll)), np.sin(np.radians(roll))
        x, y = c * x + s * y, -s * x + c * y
    if yaw:
        c, s = np.cos(np.radians(yaw)), np.sin(np.radians(yaw))
        x, z = c * x + s * z, -s * x + c * z
    if tilt:
        c, s = np.cos(np.radians(tilt)), np.sin(np.radians(tilt))
        y, z = c * y + s * z, -s * y + c * z
    rx, ry, rz = np.asarray(radii, dtype=float)
    k0 = np.sqrt((x / rx) ** 2 + (y / ry) ** 2 + (z / rz) ** 2)
    k1 = np.sqrt((x / rx**2) ** 2 + (y / ry**2) ** 2 + (z / rz**2) ** 2)
    return k0 * (k0 - 1) / np.maximum(k1, 1e-9)


def capsule(p: Points, a: ArrayLike, b: ArrayLike, ra: float, rb: float) -> Distances:
    """A rounded rod from `a` to `b` whose radius goes from `ra` to `rb`."""
    start = np.asarray(a, dtype=float)
    axis = np.asarray(b, dtype=float) - start
    t = np.clip(((p - start) @ axis) / (axis @ axis), 0.0, 1.0)
    return np.linalg.norm(p - start - t[:, None] * axis, axis=1) - (ra + (rb - ra) * t)


def bump(p: Points, centre: ArrayLike, size: ArrayLike) -> Distances:
    """A Gaussian of height 1 about `centre` with the standard deviations `size` along x, y, z."""
    q = (p - np.asarray(centre, dtype=float)) / np.asarray(size, dtype=float)
    return np.exp(-0.5 * np.einsum("ij,ij->i", q, q))


def groove(p: Points, line: Sequence[ArrayLike], width: float) -> Distances:
    """A ridge of height 1 along a polyline, falling off as a Gaussian of standard deviation `width`."""
    nearest = np.min([capsule(p, a, b, 0.0, 0.0) for a, b in zip(line[:-1], line[1:], strict=True)], axis=0)
    return np.exp(-0.5 * (nearest / width) ** 2)


def rise(x: Distances, low: float, high: float) -> Distances:
    """0 below `low`, 1 above `high`, smooth between (cubic)."""
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return t * t * (3 - 2 * t)


def logistic(x: Distances, middle: float, width: float) -> Distances:
    """0 far below `middle`, 1 far above, over about `width` mm; a negative width falls instead."""
    return 1.0 / (1.0 + np.exp(-(x - middle) / width))
