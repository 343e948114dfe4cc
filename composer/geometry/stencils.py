"""The tables over which fronts march on a surface: edges, diagonals, and every triangle seen from each of its corners.

They are built once for a surface (`surface.derived(Stencils)`). `composer.geometry.marching` removes from them the
edges that blocked lines close.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.surface import Surface


class Stencils:
    """The tables of one surface."""

    def __init__(self, surface: Surface) -> None:
        self.surface = surface

    @cached_property
    def tree(self) -> cKDTree:
        """The vertices by their place."""
        return cKDTree(self.surface.positions)

    @cached_property
    def graph(self) -> sp.csr_matrix:
        """(n, n) length in mm of every edge and every diagonal of a polygon."""
        triangles, n = self.surface.fans[0], self.surface.n_vertices
        a, b = triangles.T.ravel(), triangles[:, [1, 2, 0]].T.ravel()
        ones = np.ones(2 * len(a), dtype=np.int8)
        graph = sp.csr_matrix((ones, (np.concatenate([a, b]), np.concatenate([b, a]))), shape=(n, n))
        graph.sum_duplicates()
        rows = np.repeat(np.arange(n, dtype=np.int32), np.diff(graph.indptr))
        along = self.surface.positions[rows] - self.surface.positions[graph.indices]
        length = np.maximum(np.sqrt(np.einsum("ij,ij->i", along, along)), 1e-12)
        return sp.csr_matrix((length, graph.indices, graph.indptr), shape=(n, n))

    @cached_property
    def updates(self) -> tuple[NDArray[np.int64], NDArray[np.int32], NDArray[np.float64]]:
        """Every corner c of every triangle with the edge a, b opposite it, sorted by c: where each vertex's rows
        begin (n + 1,), a and b (2, r), and (5, r) the edge's length, c's place along it and above it, and its
        distances from a and from b, mm.
        """
        triangles, at = self.surface.fans[0], self.surface.positions
        c = triangles.T.ravel()
        order = np.argsort(c, kind="stable")
        ends = np.stack([triangles[:, [1, 2, 0]].T.ravel()[order], triangles[:, [2, 0, 1]].T.ravel()[order]])
        base, apex = at[ends[1]] - at[ends[0]], at[c[order]] - at[ends[0]]
        length = np.maximum(np.sqrt(np.einsum("ij,ij->i", base, base)), 1e-12)
        along = np.einsum("ij,ij->i", apex, base) / length
        from_a = np.sqrt(np.einsum("ij,ij->i", apex, apex))
        above = np.sqrt(np.maximum(from_a**2 - along**2, 0.0))
        pointer = np.zeros(self.surface.n_vertices + 1, dtype=np.int64)
        np.cumsum(np.bincount(c, minlength=self.surface.n_vertices), out=pointer[1:])
        return pointer, ends, np.stack([length, along, above, from_a, np.hypot(length - along, above)])
