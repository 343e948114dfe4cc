"""How hollow a skin is at each vertex: on the lower side of a step, in a fold, in a pit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.diffusion import diffused
from composer.geometry.surface import Surface

Rows = NDArray[np.float64]

ABOUT = 0.02
"""Width of what lies about a vertex, as a share of the skin's diagonal: some 9 mm, an edge or two of a head (our
choice)."""


def hollowness(surface: Surface) -> Rows:
    """(s,) without unit: how far the mean of the skin about each vertex stands out of it along its normal, as a share
    of the width ABOUT; below 0 on a ball."""
    width = ABOUT * surface.diagonal_mm
    about = diffused(surface, surface.positions, 0.5 * width**2)
    return np.einsum("ij,ij->i", about - surface.positions, surface.vertex_normals) / width
