"""Edges of masks: ramps by distance, growing and shrinking, diffusion, and harmonic weights between loops.

All lengths are millimetres along the surface.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.geodesic import checked_vertices
from composer.geometry.marching import Marching
from composer.geometry.surface import Floats, Surface, factorise
from masks.mask import checked_values


def smoothstep(x: ArrayLike) -> Floats:
    """3 x^2 - 2 x^3 with x held in [0, 1]; smoothstep(x) + smoothstep(1 - x) = 1."""
    t = np.clip(np.asarray(x, dtype=np.float64), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def ramp(inward_mm: ArrayLike, ramp_mm: float) -> Floats:
    """A mask from the signed distance (n,) to its border in mm, positive inside: 1/2 on the border, 0 and 1 half a
    ramp to either side, smoothstep between. A ramp of 0 is a hard edge, the border itself inside.
    """
    inward = np.asarray(inward_mm, dtype=np.float64)
    if not ramp_mm >= 0:
        raise MoueError("a ramp cannot be negative")
    return smoothstep(inward / ramp_mm + 0.5) if ramp_mm > 0 else (inward >= 0).astype(np.float64)


def border_points(surface: Surface, values: ArrayLike, level: float = 0.5) -> tuple[NDArray[np.int64], Floats]:
    """Where a mask (n,) crosses `level`: the vertices (k,) beside it and how far each is from it, mm (k,). On each
    edge that is crossed the crossing is found by linear interpolation. None: both are empty.
    """
    weights = checked_values(values, surface.n_vertices)
    a, b = surface.polygons.edges.T
    crossed = (weights[a] >= level) != (weights[b] >= level)
    a, b, length = a[crossed], b[crossed], surface.edge_lengths[crossed]
    at = np.clip((level - weights[a]) / (weights[b] - weights[a]), 0.0, 1.0)
    ends = np.concatenate([a, b]).astype(np.int64)
    away = np.concatenate([at * length, (1.0 - at) * length])
    vertices, place = np.unique(ends, return_inverse=True)
    nearest = np.full(len(vertices), np.inf)
    np.minimum.at(nearest, place, away)
    return vertices, nearest


def inward_distance(
    surface: Surface, values: ArrayLike, marching: Marching | None = None, limit_mm: float = np.inf
) -> Floats:
    """(n,) signed distance in mm from the mask's line of 1/2, positive inside, cut at `limit_mm`. A mask that never
    crosses 1/2 is all inside or all outside: +-inf.
    """
    weights = checked_values(values, surface.n_vertices)
    vertices, away = border_points(surface, weights)
    inside = weights >= 0.5
    if len(vertices) == 0:
        return np.where(inside, np.inf, -np.inf)
    far = (marching or Marching(surface)).from_vertices(vertices, limit_mm, away)
    far = np.minimum(far, limit_mm)
    return np.where(inside, far, -far)


def reramp(surface: Surface, values: ArrayLike, ramp_mm: float, marching: Marching | None = None) -> Floats:
    """(n,) the mask with a ramp of this width centred on its line of 1/2."""
    return ramp(inward_distance(surface, values, marching, max(ramp_mm, surface.mean_edge_mm)), ramp_mm)


def grow(
    surface: Surface, values: ArrayLike, by_mm: float, ramp_mm: float = 0.0, marching: Marching | None = None
) -> Floats:
    """(n,) the mask with its line of 1/2 moved outward by `by_mm` along the surface (inward where negative), with a
    ramp of `ramp_mm` there. Raises MoueError on a negative ramp or a number that is not finite.
    """
    if not np.isfinite(by_mm):
        raise MoueError("the distance to grow by must be a number")
    limit = abs(by_mm) + max(ramp_mm, surface.mean_edge_mm)
    return ramp(inward_distance(surface, values, marching, limit) + by_mm, ramp_mm)


def shrink(
    surface: Surface, values: ArrayLike, by_mm: float, ramp_mm: float = 0.0, marching: Marching | None = None
) -> Floats:
    """(n,) the mask with its line of 1/2 moved inward by `by_mm` along the surface; see `grow`."""
    return grow(surface, values, -by_mm, ramp_mm, marching)


def diffuse(surface: Surface, values: ArrayLike, width_mm: float) -> Floats:
    """(n,) the mask softened as heat spreads: one backward Euler step over t = width^2 / 2, whose kernel has the
    standard deviation `width_mm` along any direction. The mean over the surface stays; values stay in [0, 1].

    Raises MoueError on a negative width. A width of 0 gives the mask back.
    """
    weights = checked_values(values, surface.n_vertices)
    if not width_mm >= 0:
        raise MoueError("the width to soften by cannot be negative")
    if width_mm == 0:
        return weights
    return np.clip(surface.factor(0.5 * width_mm**2).solve(surface.mass * weights), 0.0, 1.0)


def harmonic(surface: Surface, ones: ArrayLike, zeros: ArrayLike) -> Floats:
    """(n,) weights that are 1 on the vertices `ones`, 0 on `zeros`, and as smooth as can be between (their
    Dirichlet energy is least). Pieces of the mesh that touch neither loop are 0.

    Raises MoueError where a loop is empty, outside the mesh, or both hold one vertex.
    """
    high = checked_vertices(ones, surface.n_vertices, "inner")
    low = checked_vertices(zeros, surface.n_vertices, "outer")
    both = np.intersect1d(high, low)
    if len(both):
        raise MoueError(f"vertex {int(both[0])} is on both loops")
    weights = np.zeros(surface.n_vertices)
    weights[high] = 1.0
    held = np.zeros(surface.n_vertices, dtype=bool)
    held[high] = held[low] = True
    pieces = surface.polygons.components
    free = np.flatnonzero(~held & np.isin(pieces, pieces[held]) & (surface.polygons.valence > 0))
    if len(free) == 0:
        return weights
    rows = surface.laplacian[free]
    right = -(rows @ weights)
    weights[free] = factorise(sp.csc_matrix(rows[:, free])).solve(right)
    return np.clip(weights, 0.0, 1.0)
