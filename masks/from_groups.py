"""Masks from named groups of polygons and from lists of vertices, with a soft edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from composer.errors import MoueError
from composer.geometry.geodesic import checked_vertices
from composer.geometry.surface import Floats, Surface
from masks.soften import reramp


def from_faces(surface: Surface, faces: ArrayLike, ramp_mm: float = 0.0) -> Floats:
    """(n,) a mask that is 1 on the polygons `faces` (indices (k,)) with a ramp of `ramp_mm` centred on their border.

    With no ramp every vertex of the polygons is 1. Raises MoueError for an unknown polygon or an empty list.
    """
    chosen = np.unique(np.asarray(faces, dtype=np.int64))
    if len(chosen) == 0:
        raise MoueError("the group holds no polygon")
    if chosen[0] < 0 or chosen[-1] >= surface.polygons.n_faces:
        raise MoueError(f"the group names polygon {int(chosen[-1])} of {surface.polygons.n_faces}")
    inside = np.zeros(surface.polygons.n_faces, dtype=bool)
    inside[chosen] = True
    touched = np.zeros(surface.n_vertices, dtype=bool)
    touched[surface.polygons.indices[inside[surface.polygons.corner_face]]] = True
    outside = np.zeros(surface.n_vertices, dtype=bool)
    outside[surface.polygons.indices[~inside[surface.polygons.corner_face]]] = True
    if ramp_mm <= 0:
        return touched.astype(np.float64)
    return reramp(surface, np.where(touched, np.where(outside, 0.5, 1.0), 0.0), ramp_mm)


def from_vertices(surface: Surface, vertices: ArrayLike, ramp_mm: float = 0.0) -> Floats:
    """(n,) a mask that is 1 on `vertices` (k,) and 0 elsewhere, with a ramp of `ramp_mm` at its edge.

    Raises MoueError for an unknown vertex or an empty list.
    """
    chosen = checked_vertices(vertices, surface.n_vertices, "region")
    values = np.zeros(surface.n_vertices)
    values[chosen] = 1.0
    return reramp(surface, values, ramp_mm) if ramp_mm > 0 else values


def from_component(surface: Surface, number: int) -> Floats:
    """(n,) 1 on one connected piece of the mesh, counted from 0. Raises MoueError for an unknown piece."""
    pieces = surface.polygons.components
    last = int(pieces.max()) if len(pieces) else -1
    if not 0 <= number <= last:
        raise MoueError(f"the mesh has pieces 0 to {last}, not {number}")
    return (pieces == number).astype(np.float64)
