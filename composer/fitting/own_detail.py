"""How much fine detail a sculpt has that the cage does not have: it decides how closely a fit follows the sculpt.

The fine relief of a surface is what smoothing takes away, measured along its normals. Where both surfaces have the same
relief, following the sculpt closely brings the loops to their true places. Where the sculpt has detail of its own, a
cage that follows it slides away from them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.fitting.closest import ClosestSurface
from composer.fitting.sculpt import coarser
from composer.geometry.conjugate_gradients import conjugate_gradients
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface

Rows = NDArray[np.float64]

WIDTH = 0.01
"""The width over which relief is smoothed, as a share of the head's diagonal: some 4 mm on a head, the size of wrinkles
(chosen on the tuning seeds of the fit's bench, see DEVELOPERS.md)."""
MOST_TRIANGLES = 200_000
"""A sculpt with more triangles is first made coarser, with cells of a quarter of WIDTH: it saves time (our choice)."""
STEPS = 60
"""Most steps of conjugate gradients in the smoothing (our choice)."""
MAD = 1.4826
"""The median distance times this is the standard deviation of normal distances (Rousseeuw and Croux 1993)."""


def own_detail(surface: Surface, sculpt: ClosestSurface, free: Rows, scale: float) -> float:
    """How far the fine relief of `sculpt` differs from that of the warped cage `surface` (n vertices), in units of
    `scale`, the head's diagonal in mm: 1.4826 times the median difference at closest points. Vertices whose `free` (n,)
    is at least 1/2 are left out; 0 where none is left. Raises nothing.
    """
    followed = free < 0.5
    cage_relief = relief(surface, WIDTH * scale)[followed]
    if len(sculpt.triangles) > MOST_TRIANGLES:
        sculpt = ClosestSurface(*coarser(sculpt.positions, sculpt.triangles, WIDTH / 4 * scale))
    corners = Polygons(np.full(len(sculpt.triangles), 3), sculpt.triangles.ravel(), len(sculpt.positions))
    sculpt_relief = relief(Surface(corners, sculpt.positions), WIDTH * scale)
    closest = sculpt.nearby(surface.positions[followed])
    difference = (sculpt_relief[sculpt.triangles[closest.triangle]] * closest.bary).sum(1) - cage_relief
    return float(MAD * np.median(np.abs(difference)) / scale) if len(difference) else 0.0


def smoothed(surface: Surface, values: Rows, width: float, steps: int = STEPS) -> Rows:
    """(n, k) `values` (n, k) smoothed over `width` in mm: one backward Euler step of diffusion over width^2 / 2."""
    t = 0.5 * width**2
    laplacian, mass = surface.laplacian.tocsr(), surface.mass
    diagonal = mass + t * laplacian.diagonal()

    def product(x: Rows) -> Rows:
        return mass[:, None] * x + t * (laplacian @ x)

    return conjugate_gradients(product, mass[:, None] * values, values, lambda r: r / diagonal[:, None], steps)[0]


def relief(surface: Surface, width: float) -> Rows:
    """(n,) mm along the normals that smoothing over `width` takes away, wherever the surface lies."""
    about = surface.positions - surface.positions.mean(axis=0)  # far from the origin the smoothing would end at once
    return ((about - smoothed(surface, about, width)) * surface.vertex_normals).sum(1)
