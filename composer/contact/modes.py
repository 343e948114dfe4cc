"""How a patch gives way, in few modes: a field of it is a sum of them, and its energy the sum of their squares.

The response of `patch` to pushes everywhere is a kernel R between vertices; pushes at some of them, evenly spread, say
nearly all of it (Nystrom's method; Williams and Seeger, Using the Nystrom method to speed up kernel machines, 2001).
With R's columns C at those, and their own rows G = L L', the modes are C L^-T: R is nearly modes times modes'. What is
left out is finer than half a push is felt, so a field in them is a little smoother. They are as many as the patch is
wide, however fine the mesh.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from composer.contact.patch import Patch
from composer.geometry.surface import Surface, factorise

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
CLOSE, WIDE = 0.5, 0.9
"""Of how far a push is felt: how far pushes stand apart where two sides can touch, and elsewhere."""
LEAST_WINDOW = 0.05
"""Where the patch follows no more than this it has no push."""
ALIKE = 1e-6
"""Of a distance: places as far as each other within this count the same, and the first one is taken."""


def modes(patch: Patch, places: NDArray, close: NDArray) -> NDArray[np.float32]:
    """(m, q) the modes of a patch that lies at `places` (m, 3) mm at rest, with pushes closer together among its
    vertices `close` (k,). Scaled so that a typical push moves its own vertex by one."""
    at = Surface(patch.polygons, places)
    mass, reach = at.mass, patch.reach_mm
    factor = factorise(reach**2 * at.laplacian + sp.diags(mass, format="csc"))
    able = patch.window > LEAST_WINDOW
    step = np.full(len(places), WIDE * reach)
    step[close] = CLOSE * reach
    pushed = _spread(places, step, np.flatnonzero(able))
    push = np.zeros((len(places), len(pushed)), order="F")
    push[pushed, np.arange(len(pushed))] = patch.window[pushed]
    answer = patch.window[:, None] * factor.solve(np.asfortranarray(mass[:, None] * factor.solve(push)))
    own = answer[pushed]
    typical = max(float(np.median(np.diagonal(own))), np.finfo(float).tiny) if len(pushed) else 1.0
    own = 0.5 * (own + own.T) / typical
    own[np.diag_indices(len(own))] += 1e-6
    root = cholesky(own, lower=True, check_finite=False)
    found = solve_triangular(root, answer.T / typical, lower=True, check_finite=False)
    return np.ascontiguousarray(found.T, dtype=np.float32)


def _spread(places: NDArray, step: Floats, among: Ints) -> Ints:
    """(q,) vertices `among` (k,), each time the one furthest from those taken as counted in its own `step` (m,), until
    all are within one step of one (Gonzalez, Clustering to minimize the maximum intercluster distance, 1985)."""
    points, away = places[among], np.full(len(among), np.inf)
    taken: list[int] = []
    at = 0
    while len(among):
        taken.append(at)
        away = np.minimum(away, np.linalg.norm(points - points[at], axis=1) / step[among])
        most = float(away.max())
        if most < 1.0:
            break
        at = int(np.argmax(away >= most * (1.0 - ALIKE)))
    return among[np.array(taken, dtype=np.int64)]
