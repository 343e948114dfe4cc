"""Which triangles of a large head a ray can meet, told from its coarser level.

The coarser level's triangles stand on the head's own vertices, so the first of them that a ray meets lies within a
fraction of an edge of the first of the head's own; those about it are few, and tested one by one. Near an outline a ray
may meet a coarse triangle and none of these, or the other way round: then all are tested.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.coarse import Coarse

Indices = NDArray[np.int64]


class RoughTriangles:
    """The coarser triangles of one large head, and which of its own lie about each: `vertices` (m,) of the head are the
    coarser level's, `corners` three arrays (t,) of indices into them.
    """

    def __init__(self, polygons: Polygons, level: Coarse) -> None:
        coarse = level.surface.polygons
        self.vertices = level.vertices
        self.corners = tuple(np.ascontiguousarray(coarse.triangles[:, i]) for i in range(3))
        self._ring = coarse.adjacency
        of = level.parents[polygons.triangles[:, 0]]
        self._order = np.argsort(of, kind="stable")
        self._starts = np.zeros(coarse.n_vertices + 1, dtype=np.int64)
        np.cumsum(np.bincount(of, minlength=coarse.n_vertices), out=self._starts[1:])

    def about(self, coarse_triangle: int) -> Indices:
        """(k,) the head's own triangles, ascending, that lie about one of the coarser ones."""
        near = {int(corner[coarse_triangle]) for corner in self.corners}
        for _ in range(2):
            near |= {int(v) for each in near for v in self._ring.indices[self._span(each)]}
        runs = [self._order[self._starts[v] : self._starts[v + 1]] for v in near]
        return np.sort(np.concatenate(runs))

    def _span(self, vertex: int) -> slice:
        return slice(int(self._ring.indptr[vertex]), int(self._ring.indptr[vertex + 1]))
