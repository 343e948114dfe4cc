"""Edges of masks: ramps by distance from the line where a mask is 1/2.

All lengths are millimetres along the surface.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.marching import Marching
from composer.geometry.surface import Floats, Surface
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
    """The vertices (k,) beside the line where a mask (n,) crosses `level`, and their distances from it in mm (k,). The
    crossing of an edge is found by linear interpolation. Both are empty where there is no crossing.
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
    """(n,) signed distance in mm from the mask's line of 1/2, positive inside, at most `limit_mm`. A mask that never
    crosses 1/2 gives +-inf everywhere.
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
