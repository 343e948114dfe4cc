"""The edges across from each vertex, over which its normal is gathered."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons


def opposite_edges(polygons: Polygons) -> tuple[NDArray[np.uint32], NDArray[np.uint32]]:
    """The edges across from each vertex: `rings` (n + 1,), where each vertex's begin, and `edges` (e, 2).

    They are the edges of the polygons about it that it is no end of, each in its polygon's sense: the polygons' fans
    about the vertex, whose vector areas sum to the polygons' own (Newell).
    """
    owners: list[NDArray] = [np.zeros(0, np.int32)]
    edges: list[NDArray] = [np.zeros((0, 2), np.int32)]
    for corners in np.unique(polygons.counts).tolist():
        faces = np.flatnonzero(polygons.counts == corners)
        loops = polygons.indices[polygons.starts[faces][:, None] + np.arange(corners)]
        for step in range(1, corners - 1):
            ends = np.stack([np.roll(loops, -step, axis=1), np.roll(loops, -step - 1, axis=1)], axis=-1)
            owners.append(loops.ravel())
            edges.append(ends.reshape(-1, 2))
    owner, listed = np.concatenate(owners), np.concatenate(edges)
    number = np.arange(len(owner))
    table = sp.csr_matrix((np.ones(len(owner), np.int8), (owner, number)), (polygons.n_vertices, len(owner)))
    return table.indptr.astype(np.uint32), listed[table.indices].astype(np.uint32)
