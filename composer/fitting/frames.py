"""Two neutrals of one topology compared: the similarity from one to the other, and how each vertex turns and grows.

Both sides count alike (the scale is the root of a ratio of variances), so that the result from A to B is the inverse of
that from B to A.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.polygons import read_only
from composer.geometry.rigid import Similarity, nearest_rotation, similarity
from composer.geometry.surface import Surface, factorise

Floats = NDArray[np.float64]


def similarity_between(source: NDArray, target: NDArray, weight: NDArray | None = None) -> Similarity:
    """The similarity that lays points `source` (m, 3) on `target` (m, 3) best, `weight` (m,) not negative.

    The rotation is that of Umeyama (1991); the scale is the root of the ratio of the two variances (Horn 1987, the
    symmetric form), so that the similarity back is the inverse. Points without extent give the scale 1.
    """
    if weight is None:
        weight = np.ones(len(source))
    rotation = similarity(source, target, weight, scaled=False).rotation
    share = weight / weight.sum()
    centre, goal = share @ source, share @ target
    spread = float(share @ ((source - centre) ** 2).sum(axis=1)), float(share @ ((target - goal) ** 2).sum(axis=1))
    scale = float(np.sqrt(spread[1] / spread[0])) if min(spread) > 0.0 else 1.0
    return Similarity(read_only(rotation), read_only(goal - scale * (rotation @ centre)), scale)


def extent(points: NDArray, weight: NDArray | None = None) -> float:
    """The size of points (m, 3) in any orientation: the diagonal in mm of the box with the same variances.

    A box of sides a, b, c filled evenly has the variances a^2/12, b^2/12, c^2/12. On a head with its neck this is
    close to the bounding box's diagonal, which a turn would change.
    """
    share = np.full(len(points), 1.0 / max(len(points), 1)) if weight is None else weight / weight.sum()
    return float(np.sqrt(12.0 * share @ ((points - share @ points) ** 2).sum(axis=1)))


def local_frames(source: Surface, target: Surface, radius_mm: float) -> tuple[Floats, Floats]:
    """How each vertex of the same polygons turns, (n, 3, 3) rotations, and grows, (n,) scales.

    The rotation is the one nearest to the map between the edges about a vertex (Sorkine and Alexa 2007,
    "As-rigid-as-possible surface modeling"). The products of the map are first diffused along the source over
    `radius_mm`, so that fine detail of either face does not make the field rough. The scale is the root of the ratio of
    the edges' squared lengths, diffused alike.
    """
    edges = source.polygons.edges
    source_edges = source.positions[edges[:, 1]] - source.positions[edges[:, 0]]
    target_edges = target.positions[edges[:, 1]] - target.positions[edges[:, 0]]
    product = np.einsum("ei,ej->eij", target_edges, source_edges).reshape(-1, 9)
    lengths = np.stack([(target_edges**2).sum(axis=1), (source_edges**2).sum(axis=1)], axis=1)
    n, e = source.n_vertices, len(edges)
    about = sp.csr_matrix((np.ones(2 * e), (edges.T.ravel(), np.tile(np.arange(e), 2))), shape=(n, e))
    gathered = about @ np.concatenate([product, lengths], axis=1)
    gathered = factorise(_mass(source) + radius_mm**2 * source.laplacian).solve(np.asfortranarray(gathered))
    rotation, _ = nearest_rotation(gathered[:, :9].reshape(-1, 3, 3))
    scale = np.sqrt(np.maximum(gathered[:, 9], 0.0) / np.maximum(gathered[:, 10], np.finfo(float).tiny))
    lone = ~(gathered[:, 10] > 0.0)
    rotation[lone], scale[lone] = np.eye(3), 1.0
    return read_only(rotation), read_only(scale)


def _mass(surface: Surface) -> sp.spmatrix:
    return sp.diags(surface.mass, format="csc")
