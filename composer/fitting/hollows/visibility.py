"""How openly a place of a surface lies: the share of the directions before it in which nothing of the surface stands.

This is the ambient visibility of computer graphics (Zhukov, Iones and Kronin 1998, "An ambient light illumination
model"), weighted by the cosine to the normal and found by rays in directions spread evenly over the sphere (the
Fibonacci lattice, Gonzalez 2010, "Measurement of areas on a sphere using Fibonacci and latitude-longitude lattices").
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.fitting.rays import SculptRays

Rows = NDArray[np.float64]
LIFT = 1e-4
"""How far a ray starts above the surface, as a share of its extent: rounding of single precision and a margin (our
choice)."""
GRAZING = 0.05
"""Least cosine between a ray and the normal: nearly tangent rays see the surface's own facets (our choice)."""


def directions(count: int) -> Rows:
    """(count, 3) unit vectors spread evenly over the sphere."""
    row = np.arange(count) + 0.5
    height = 1.0 - 2.0 * row / count
    turn = np.pi * (1.0 + np.sqrt(5.0)) * row
    flat = np.sqrt(1.0 - height**2)
    return np.stack([flat * np.cos(turn), flat * np.sin(turn), height], axis=1)


def visibility(rays: SculptRays, points: Rows, normals: Rows, extent_mm: float, count: int) -> Rows:
    """(k,) in [0, 1] how openly `points` (k, 3) mm with unit `normals` (k, 3) lie on the surface of `rays`: 1 where
    nothing hinders the view, 0 where every ray of the `count` directions is stopped. `extent_mm` is the surface's
    diagonal."""
    seen, total = np.zeros(len(points)), np.zeros(len(points))
    for direction in directions(count):
        cosine = normals @ direction
        before = np.flatnonzero(cosine > GRAZING)
        start = points[before] + LIFT * extent_mm * normals[before]
        stopped = rays.stopped(start, np.broadcast_to(direction, start.shape))
        seen[before] += cosine[before] * ~stopped
        total[before] += cosine[before]
    return seen / np.maximum(total, 1e-12)
