"""Seams undone by corner: a copy split along its seams whose polygons stand in the old order tells each vertex itself.

Programs that split vertices for texture or shading keep the polygons and their corners as they were. The k-th corner of
the copy is then the k-th corner of the reference, whatever lies at the same place: lips that touch stay two.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.formats.mesh import Mesh

SAME_PLACE = 1e-6
"""Of the mesh's size: vertices of one corner lie no further apart; a seam that was pulled open is not welded (a file
with six digits rounds by half of it).
"""


def by_corner(reference: Mesh, mesh: Mesh) -> NDArray[np.int64] | None:
    """(n,) the mesh's vertex of each of the reference's, by corner; None where the polygons differ in count or order,
    where a vertex has no corner, or where what is one vertex in one lies at two places in the other.
    """
    ours, theirs = reference.polygons, mesh.polygons
    if not np.array_equal(ours.counts, theirs.counts) or not len(ours.indices):
        return None
    vertices = np.full(reference.n_vertices, -1, dtype=np.int64)
    vertices[ours.indices] = theirs.indices
    if (vertices < 0).any():
        return None
    back = np.full(mesh.n_vertices, -1, dtype=np.int64)
    back[theirs.indices] = ours.indices
    there = mesh.positions[theirs.indices] - mesh.positions[vertices[ours.indices]]
    here = reference.positions[ours.indices] - reference.positions[back[theirs.indices]]
    apart = max(np.abs(there).max() / max(mesh.diagonal, 1e-30), np.abs(here).max() / max(reference.diagonal, 1e-30))
    return vertices if apart <= SAME_PLACE else None
