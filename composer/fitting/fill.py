"""Values continued smoothly over the vertices that have none.

The filled values minimise |Lap u|^2 + |grad u|^2 / width^2 with all others held (Botsch and Kobbelt 2004, "An intuitive
framework for real-time freeform modeling"; its order 2 joins with a continuous first derivative). The second term is a
tension: without it the slope at the rim of a deep hollow would be continued into the hollow. It is one sparse solve.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.dissected import solver_for
from composer.geometry.part import part_of
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface

Rows = NDArray[np.float64]


def fill(surface: Surface, values: Rows, missing: NDArray[np.bool_], width_mm: float) -> Rows:
    """(n, k) `values` (n, k) with the rows flagged in `missing` (n,) replaced; `width_mm` > 0 is the tension's width.

    A piece of the mesh without any known value gets the mean of all known values, or 0 where there is none. Only the
    polygons about missing vertices are looked at.
    """
    out = np.array(values, dtype=np.float64)
    known = out[~missing]
    out[missing] = known.mean(axis=0) if len(known) else 0.0
    around = _about(surface.polygons, _about(surface.polygons, missing))  # all that the energy of missing places needs
    at = np.flatnonzero(around)
    local = surface if len(at) == len(out) else Surface(part_of(surface.polygons, at), surface.positions[at])
    pieces, lost = local.polygons.components, missing[at]
    held = np.isin(pieces, pieces[~lost])
    free = np.flatnonzero(lost & held)
    if not len(free):
        return out
    inside = out[at]
    inside[free] = 0.0
    rows = local.laplacian[free].tocsr()
    near = np.unique(rows.indices)
    about = local.laplacian[near].tocsr()
    inverse = sp.diags(1.0 / local.mass[near])
    across = about[:, free]
    energy = (across.T @ inverse @ across + rows[:, free] / width_mm**2).tocsc()
    pull = across.T @ (inverse @ (about @ inside)) + (rows @ inside) / width_mm**2
    scale = 1e-12 * energy.diagonal().max()
    out[at[free]] = solver_for(energy + scale * sp.identity(len(free)), pull.shape[1])(-pull)
    return out


def fill_more(
    surface: Surface, values: Rows, missing: NDArray[np.bool_], width_mm: float, filled: Rows,
    before: NDArray[np.bool_],
) -> Rows:  # fmt: skip
    """(n, k) as `fill`, where `filled` (n, k) is what it gave for fewer missing rows, those flagged in `before` (n,):
    only areas that have a further missing vertex are filled anew."""
    more = missing & ~before
    out = np.array(values, dtype=np.float64)
    out[missing] = filled[missing]
    if not more.any():
        return out
    reach = np.flatnonzero(_about(surface.polygons, missing))  # filled areas further apart do not feel each other
    part = part_of(surface.polygons, reach).components
    anew = np.zeros(len(missing), dtype=bool)
    anew[reach] = np.isin(part, part[more[reach]])
    return fill(surface, out, missing & anew, width_mm)


def _about(polygons: Polygons, vertices: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(n,) the flagged vertices (n,) and those that share a polygon with one."""
    hit = np.zeros(polygons.n_faces, dtype=bool)
    hit[polygons.corner_face[vertices[polygons.indices]]] = True
    about = np.array(vertices)
    about[polygons.indices[hit[polygons.corner_face]]] = True
    return about
