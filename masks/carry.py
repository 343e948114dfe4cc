"""Masks on another mesh, carried by surface points."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.closest import ClosestPoints
from composer.geometry.surface import Floats, Surface
from composer.geometry.vectors import dot
from masks.mask import checked_values

FACING = 0.05
"""Of the surface's diagonal (and at least WIDENS mean edges), beyond the closest place: how far a place that faces the
same way may lie to be taken instead, about the thickness of lips, lids and ears (20 mm on a head of 400 mm; common
practice, no source)."""
WIDENS = 2.0
"""The search for such a place first goes this many mean edges further, then this many times as far each time."""


@dataclass(frozen=True, eq=False)
class SurfacePoints:
    """Where m points lie on a mesh: the vertices (m, 3) of a triangle each, barycentric weights (m, 3) that sum to
    one, and how far each point was from there, mm (m,).
    """

    triangles: NDArray[np.int32]
    bary: Floats
    distance_mm: Floats

    def at(self, values: ArrayLike) -> Floats:
        """(m,) or (m, d) what vertex values (n,) or (n, d) of the mesh are at the points."""
        return np.einsum("mi,mi...->m...", self.bary, np.asarray(values, dtype=np.float64)[self.triangles])


def closest_points(surface: Surface, points: ArrayLike, normals: ArrayLike | None = None) -> SurfacePoints:
    """The closest point of the surface to each of `points` (m, 3) in mm, over every triangle. With unit `normals`
    (m, 3), triangles that face the other way are taken only where none within `FACING` faces the same way, so that
    the upper lip does not land on the lower one.

    Raises MoueError where the surface has no polygon or the shapes do not fit.
    """
    sought = np.asarray(points, dtype=np.float64)
    if sought.ndim != 2 or sought.shape[1] != 3 or not np.isfinite(sought).all():
        raise MoueError("points must be (m, 3) finite positions")
    triangles = surface.triangles
    if len(triangles) == 0:
        raise MoueError("there is no surface to carry to: the mesh has no polygons")
    search = surface.derived(_search_of)
    found = search(sought)
    triangle, bary, squared = found.triangle, found.bary, found.squared
    if normals is not None:
        unit = np.asarray(normals, dtype=np.float64)
        behind = np.flatnonzero(dot(surface.triangle_vectors[triangle], unit) < 0)
        reach = np.sqrt(squared[behind]) + WIDENS * surface.mean_edge_mm
        furthest = np.maximum(reach, np.sqrt(squared[behind]) + FACING * surface.diagonal_mm)
        while len(behind):
            reach = np.minimum(reach, furthest)
            facing = search.within(sought[behind], reach, partial(_faces, surface, unit[behind]))
            hit = facing.triangle >= 0
            at = behind[hit]
            triangle[at], bary[at], squared[at] = facing.triangle[hit], facing.bary[hit], facing.squared[hit]
            on = ~hit & (reach < furthest)
            behind, furthest, reach = behind[on], furthest[on], WIDENS * reach[on]
    return SurfacePoints(triangles[triangle], bary, np.sqrt(squared))


def _faces(surface: Surface, normals: Floats, row: NDArray, triangle: NDArray) -> NDArray[np.bool_]:
    """Of pairs of a place in `normals` (m, 3) and a triangle: whether the triangle faces that way."""
    return dot(surface.triangle_vectors[triangle], normals[row]) >= 0


def _search_of(surface: Surface) -> ClosestPoints:
    return ClosestPoints(surface.positions, surface.triangles)


def carry(values: ArrayLike, source: Surface, target: Surface, aligned: ArrayLike | None = None) -> Floats:
    """(m,) a mask (n,) of `source` on the vertices of `target`: each takes the value of the closest point of the
    source that faces its way. `aligned` (m, 3) are the target's vertices laid over the source, where they are not
    there already. Raises MoueError where the mask does not fit the source.
    """
    weights = checked_values(values, source.n_vertices)
    laid = target if aligned is None else target.at(aligned)
    return np.clip(closest_points(source, laid.positions, laid.vertex_normals).at(weights), 0.0, 1.0)
