"""Masks from closed loops of vertices: one side of the loop, with a soft edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.csgraph import connected_components

from composer.errors import MoueError
from composer.geometry.barriers import edge_path
from composer.geometry.geodesic import checked_vertices
from composer.geometry.surface import Floats, Surface
from masks.soften import reramp


def closed(loop: ArrayLike) -> NDArray[np.int64]:
    """(k + 1,) the loop with its first vertex at its end too."""
    ring = np.asarray(loop, dtype=np.int64).ravel()
    return ring if len(ring) and ring[0] == ring[-1] else np.append(ring, ring[:1])


def enclosed(surface: Surface, loop: ArrayLike, inside: int | None = None) -> NDArray[np.bool_]:
    """(n,) whether a vertex is inside a closed loop of vertices; the loop itself is not.

    `inside` is a vertex on the wanted side; by default the side with the smaller area is taken. Gaps in the loop are
    closed along edges. Raises MoueError where the loop does not divide its piece of the mesh in two, or `inside` is on
    the loop or on another piece.
    """
    ring = edge_path(surface, closed(loop))
    on = np.zeros(surface.n_vertices, dtype=bool)
    on[ring] = True
    pieces = surface.polygons.components
    rest = np.flatnonzero(~on & (pieces == pieces[ring[0]]))
    if len(rest) == 0:
        raise MoueError("the loop takes every vertex of its piece of the mesh; nothing is inside")
    within = surface.polygons.adjacency[rest][:, rest]
    count, label = connected_components(within, directed=False)
    if count < 2:
        raise MoueError("the loop does not part the mesh: both of its sides are one")
    if inside is None:
        area = np.bincount(label, weights=surface.mass[rest], minlength=count)
        wanted = label != int(np.argmax(area))
    else:
        checked_vertices([inside], surface.n_vertices, "inside")
        at = np.flatnonzero(rest == inside)
        if len(at) == 0:
            raise MoueError(f"vertex {inside}, named as inside, lies on the loop or on another piece of the mesh")
        wanted = label == label[at[0]]
    flags = np.zeros(surface.n_vertices, dtype=bool)
    flags[rest[wanted]] = True
    return flags


def from_loop(surface: Surface, loop: ArrayLike, inside: int | None = None, ramp_mm: float = 0.0) -> Floats:
    """(n,) a mask that is 1 within a closed loop (k,) of vertices and 1/2 on it, with a ramp of `ramp_mm` centred on
    it; with no ramp the loop itself is inside. `inside` and errors are as in `enclosed`.
    """
    values = enclosed(surface, loop, inside).astype(np.float64)
    ring = edge_path(surface, closed(loop))
    if ramp_mm <= 0:
        values[ring] = 1.0
        return values
    values[ring] = 0.5
    return reramp(surface, values, ramp_mm)
