"""Values continued smoothly over the vertices that have none.

The filled values minimise |Lap u|^2 + |grad u|^2 / width^2 with all others held (Botsch and Kobbelt 2004, "An intuitive
framework for real-time freeform modeling"; its order 2 joins with a continuous first derivative). The second term is a
tension: without it the slope at the rim of a deep hollow would be continued into the hollow. It is one sparse solve.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.surface import Surface, factorise

Rows = NDArray[np.float64]


def fill(surface: Surface, values: Rows, missing: NDArray[np.bool_], width_mm: float) -> Rows:
    """(n, k) `values` (n, k) with the rows flagged in `missing` (n,) replaced; `width_mm` > 0 is the tension's width.

    A piece of the mesh without any known value gets the mean of all known values, or 0 where there is none.
    """
    out = np.array(values, dtype=np.float64)
    pieces = surface.polygons.components
    held = np.isin(pieces, pieces[~missing])
    known = out[~missing]
    out[missing & ~held] = known.mean(axis=0) if len(known) else 0.0
    free = np.flatnonzero(missing & held)
    if not len(free):
        return out
    out[free] = 0.0
    rows = surface.laplacian[free].tocsr()
    near = np.unique(rows.indices)
    local = surface.laplacian[near].tocsr()
    inverse = sp.diags(1.0 / surface.mass[near])
    across = local[:, free]
    energy = (across.T @ inverse @ across + rows[:, free] / width_mm**2).tocsc()
    pull = across.T @ (inverse @ (local @ out)) + (rows @ out) / width_mm**2
    scale = 1e-12 * energy.diagonal().max()
    out[free] = factorise(energy + scale * sp.identity(len(free))).solve(np.asfortranarray(-pull))
    return out
