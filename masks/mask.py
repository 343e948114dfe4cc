"""The values of a mask: a weight in [0, 1] at every vertex."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from composer.errors import MoueError
from composer.geometry.surface import Floats

ROUNDING = 1e-9
"""Values outside [0, 1] by at most this are rounding and are clipped."""


def checked_values(values: ArrayLike, n_vertices: int | None = None, word: str = "mask") -> Floats:
    """Mask values (n,) as float64 in [0, 1], a copy.

    Raises MoueError where there is not one number a vertex (`n_vertices`, if given), or a value is not finite or
    outside [0, 1] by more than rounding.
    """
    weights = np.array(values, dtype=np.float64)
    if weights.ndim != 1:
        raise MoueError(f"the {word} has {weights.ndim} dimensions; it must be one number a vertex")
    if n_vertices is not None and len(weights) != n_vertices:
        raise MoueError(f"the {word} has {len(weights)} values, the mesh {n_vertices} vertices")
    if not np.isfinite(weights).all():
        raise MoueError(f"the {word} is not a number at vertex {int(np.flatnonzero(~np.isfinite(weights))[0])}")
    outside = (weights < -ROUNDING) | (weights > 1 + ROUNDING)
    if outside.any():
        bad = int(np.flatnonzero(outside)[0])
        raise MoueError(f"the {word} is {weights[bad]:g} at vertex {bad}; it must lie between 0 and 1")
    return np.clip(weights, 0.0, 1.0, out=weights)
