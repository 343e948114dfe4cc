"""How much a piece is a ball: the sphere that most of it lies on, and from how many directions it surrounds its centre.

The sphere is found by random samples of six points (Fischler and Bolles 1981, "Random sample consensus"), then by
least squares over what agrees. A shell over an eye fits a sphere as well as the eyeball does, but covers few
directions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
DRAWS, POINTS = 120, 6
WITHIN = 0.03
"""Of the radius: how near the sphere a point lies to be on it."""
SAMPLE = 600
ROWS, COLUMNS = 8, 12
"""Directions are counted in this many bins of equal area: rows of equal height (Archimedes), columns of equal angle."""


@dataclass(frozen=True, eq=False)
class Sphere:
    """`centre` (3,) and `radius` mm; `share` of the points that lie on it, and `covered`, the share of directions."""

    centre: Floats
    radius: float
    share: float
    covered: float


def sphere_through(points: Floats) -> tuple[Floats, float]:
    """Centre (3,) and radius of the sphere through `points` (k, 3) by linear least squares."""
    middle = points.mean(axis=0)
    local = points - middle
    system = np.concatenate([2.0 * local, np.ones((len(points), 1))], axis=1)
    solution = np.linalg.lstsq(system, np.einsum("ij,ij->i", local, local), rcond=None)[0]
    centre = solution[:3]
    return middle + centre, float(np.sqrt(max(solution[3] + centre @ centre, 0.0)))


def covered_directions(points: Floats, centre: Floats) -> float:
    """The share of the directions about `centre` (3,) in which `points` (k, 3) lie, in [0, 1]."""
    off = points - centre
    away = off / np.maximum(np.linalg.norm(off, axis=1, keepdims=True), 1e-12)
    row = np.clip(((away[:, 2] + 1.0) * ROWS / 2.0).astype(int), 0, ROWS - 1)
    turn = (np.arctan2(away[:, 1], away[:, 0]) + np.pi) / (2.0 * np.pi)
    return len(np.unique(row * COLUMNS + (turn * COLUMNS).astype(int) % COLUMNS)) / (ROWS * COLUMNS)


def sphere_of(points: Floats, seed: int = 1) -> Sphere:
    """The sphere on which the most of `points` (k, 3) lie."""
    rng = np.random.default_rng(seed)
    judged = points if len(points) <= SAMPLE else points[rng.permutation(len(points))[:SAMPLE]]
    drawn = points[rng.integers(0, len(points), size=(DRAWS, POINTS))]
    middle = drawn.mean(axis=1, keepdims=True)
    local = drawn - middle
    system = np.concatenate([2.0 * local, np.ones((DRAWS, POINTS, 1))], axis=2)
    solution = np.einsum("dij,dj->di", np.linalg.pinv(system), np.einsum("dij,dij->di", local, local))
    centres = middle[:, 0] + solution[:, :3]
    radii = np.sqrt(np.maximum(solution[:, 3] + np.einsum("di,di->d", solution[:, :3], solution[:, :3]), 0.0))
    radii[radii > float(np.ptp(points, axis=0).max())] = np.nan
    away = np.linalg.norm(judged[None] - centres[:, None], axis=2)
    with np.errstate(invalid="ignore"):
        shares = (np.abs(away - radii[:, None]) < WITHIN * radii[:, None]).mean(axis=1)
    best = int(np.argmax(shares))
    centre, radius, share = centres[best], float(radii[best]), float(shares[best])
    for _ in range(4):
        on = np.abs(np.linalg.norm(points - centre, axis=1) - radius) < WITHIN * radius
        if int(on.sum()) < 8:
            break
        centre, radius = sphere_through(points[on])
        share = float((np.abs(np.linalg.norm(points - centre, axis=1) - radius) < WITHIN * radius).mean())
    if not np.isfinite(radius):
        return Sphere(points.mean(axis=0), float("inf"), 0.0, 0.0)
    return Sphere(centre, radius, share, covered_directions(points, centre))
