"""How far the skin may still slide along a sculpt that it already lies on: the posterior's deviation along the surface.

The closest points of a sculpt say nothing of sliding; landmarks, the rim and the prior do. What they leave open is the
posterior covariance of each place, and its part in the tangent plane is the slide. It is too small by a factor, because
sculpt and prior are not exactly what the model says; the factor was measured on people whose true places are known.
"""

from __future__ import annotations

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Rows = NDArray[np.float64]
FACTOR = 2.0
"""Ratio of the true slide to the posterior's deviation, root mean squares over the face (see DEVELOPERS.md)."""
NEIGHBOURS = 4
"""Places from which a vertex has its value (our choice)."""


def slide(columns: NDArray, factor: Rows, normals: Rows, places: Rows, at: Rows) -> Rows:
    """(s,) mm, the expected slide at `at` (s, 3) mm, from that at p `places` (p, 3) mm.

    `columns` (p, 3, r) are the prior's fields there and `normals` (p, 3) the skin's; `factor` (r, r) is the upper
    Cholesky factor of the system whose inverse is the posterior covariance of the amounts.
    """
    half = la.solve_triangular(factor, columns.reshape(-1, columns.shape[2]).T, trans="T").reshape(-1, len(places), 3)
    total = (half**2).sum(axis=(0, 2))
    across = (np.einsum("rpc,pc->rp", half, normals) ** 2).sum(axis=0)
    value = FACTOR * np.sqrt(np.maximum(total - across, 0.0))
    distance, nearest = cKDTree(places).query(at, k=min(NEIGHBOURS, len(places)))
    distance, nearest = distance.reshape(len(at), -1), nearest.reshape(len(at), -1)
    weight = 1.0 / (distance + 1e-3 * (1.0 + distance.mean()))
    return (value[nearest] * weight).sum(1) / weight.sum(1)
