"""A mask smoothed by a width in mm: heat that spreads along the surface for as long as gives a Gaussian of that width.

The heat equation turns a hard edge into the integral of a Gaussian whose standard deviation is sqrt(2 t); steps of
implicit Euler keep that variance (Crane et al. 2013, section 3.2, uses one such step). Cotangent weights below zero, of
obtuse triangles, count as zero, so that no value leaves the range of those around it.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike

from composer.errors import MoueError
from composer.geometry.barriers import Barriers
from composer.geometry.surface import Floats, factorise
from masks.mask import checked_values

STEPS = 4
"""Steps of implicit Euler; more come nearer to a Gaussian's tail. A design choice, no source."""
WIDEST_MM = 100.0
"""The largest width, mm. A design choice, no source."""


def smoothed_by(barriers: Barriers, values: ArrayLike, width_mm: float) -> Floats:
    """(n,) the mask (n,) smoothed by a Gaussian whose standard deviation is `width_mm`, in [0, 100], along the surface
    of the barriers. Vertices of a barrier keep their value, and nothing passes it.

    Raises MoueError where the mask does not fit the surface, or for another width.
    """
    surface = barriers.surface
    mask = checked_values(values, surface.n_vertices)
    if not 0.0 <= width_mm <= WIDEST_MM:
        raise MoueError(f"a mask cannot be smoothed by {width_mm:g} mm", hint=f"give 0 to {WIDEST_MM:g} mm")
    if width_mm == 0.0:
        return mask
    held = barriers.blocked | (surface.polygons.valence == 0)
    if held.all():
        return mask
    weights = -surface.laplacian.tocsr()
    weights.setdiag(0.0)
    weights.data = np.maximum(weights.data, 0.0)
    spread = sp.diags(np.asarray(weights.sum(axis=1)).ravel()) - weights
    time = 0.5 * width_mm**2 / STEPS
    free = np.flatnonzero(~held)
    rows = spread.tocsr()[free]
    mass = surface.mass[free]
    factor = factorise((sp.diags(mass) + time * rows[:, free]).tocsc())
    from_held = time * (rows[:, np.flatnonzero(held)] @ mask[held])
    inner = mask[free]
    for _ in range(STEPS):
        inner = factor.solve(mass * inner - from_held)
    mask[free] = np.clip(inner, mask.min(), mask.max())
    return mask
