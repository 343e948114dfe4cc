"""Corners as half-edges: from each corner of a polygon to the next, the one before, and the one across its edge.

A corner stands for the edge from its vertex to the next vertex of its polygon. Its twin is the corner of the polygon
across that runs along the same edge the other way. `following` and `twin` alone lead from one corner to every other
corner of the same piece, and the same walk on a mesh in another vertex order visits the same places.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.geometry.polygons import Polygons, read_only

Ints = NDArray[np.int32]
BORDER, TURNED, CROWDED = -1, -2, -3
"""Marks for a corner without a twin: no polygon across; one that is turned over, so that it runs the same way; more
than one."""


class HalfEdges:
    """The corners of polygons (k of them), as a structure to walk; all arrays read-only int32.

    `face` (k,) the polygon of each corner, `vertex` (k,) its vertex, `following` and `before` (k,) the next and the
    last corner of the polygon, `twin` (k,) the corner across or BORDER, TURNED, CROWDED.
    """

    def __init__(self, polygons: Polygons) -> None:
        """Build the tables for `polygons` in time O(k), with two counting sorts."""
        self.polygons = polygons
        self.vertex: Ints = polygons.indices
        self.face: Ints = polygons.corner_face
        self.following: Ints = read_only(polygons.next_corner.astype(np.int32))
        before = np.empty_like(self.following)
        before[self.following] = np.arange(len(before), dtype=np.int32)
        self.before: Ints = read_only(before)
        self.twin, self._edge_ends = _twins(self)

    @cached_property
    def valence(self) -> NDArray[np.int64]:
        """(n,) number of edges at each vertex."""
        return np.bincount(self._edge_ends, minlength=self.polygons.n_vertices)

    @cached_property
    def pieces(self) -> Ints:
        """(f,) the piece of each polygon: those that can be reached across edges with a twin."""
        across = np.where(self.twin >= 0, self.face[self.twin], self.face)
        f = self.polygons.n_faces
        graph = sp.csr_matrix((np.ones(len(across), np.int8), across, self.polygons.starts), shape=(f, f))
        return read_only(connected_components(graph, directed=False)[1].astype(np.int32))

    @cached_property
    def at_vertex(self) -> tuple[NDArray[np.int64], Ints]:
        """Where the corners of each vertex begin (n + 1,) in the corners sorted by vertex (k,)."""
        order = _sorted_by(self.vertex, self.polygons.n_vertices)
        starts = np.zeros(self.polygons.n_vertices + 1, dtype=np.int64)
        np.cumsum(np.bincount(self.vertex, minlength=self.polygons.n_vertices), out=starts[1:])
        return starts, order

    def corners_at(self, vertex: int) -> Ints:
        """The corners of one vertex, ascending."""
        starts, order = self.at_vertex
        return order[starts[vertex] : starts[vertex + 1]]


def turned_over(polygons: Polygons) -> tuple[Polygons, NDArray[np.int64]]:
    """The polygons with their corners in the opposite order, and for each of their corners (k,) the original one.

    The corner c of the result stands at the vertex of the original's corner `same[c]`; `same` is its own inverse.
    """
    within = np.arange(len(polygons.indices)) - np.repeat(polygons.starts[:-1], polygons.counts)
    mirrored = np.repeat(polygons.starts[1:] - 1, polygons.counts) - within
    turned = Polygons(polygons.counts, polygons.indices[mirrored], polygons.n_vertices)
    return turned, mirrored


def _twins(mesh: HalfEdges) -> tuple[Ints, Ints]:
    """The twin of each corner, and both ends of every edge (2 e,) in no order."""
    k, n = len(mesh.vertex), mesh.polygons.n_vertices
    begin, end = mesh.vertex, mesh.vertex[mesh.following]
    low, high = np.minimum(begin, end), np.maximum(begin, end)
    order = _sorted_by(high, n)
    order = order[_sorted_by(low[order], n)]
    low, high, forward = low[order], high[order], (begin < end)[order]
    first = np.ones(k + 1, dtype=bool)
    first[1:k] = (low[1:] != low[:-1]) | (high[1:] != high[:-1])
    starts = np.flatnonzero(first)
    use = np.diff(starts)
    twin = np.full(k, BORDER, dtype=np.int32)
    pair = starts[:-1][use == 2]
    a, b = order[pair], order[pair + 1]
    opposed = forward[pair] != forward[pair + 1]
    twin[a], twin[b] = np.where(opposed, b, TURNED), np.where(opposed, a, TURNED)
    if (use > 2).any():
        twin[order[np.repeat(use > 2, use)]] = CROWDED
    starts = starts[:-1]
    return read_only(twin), np.concatenate([low[starts], high[starts]])


def _sorted_by(key: NDArray, n: int) -> Ints:
    """Stable order of keys in [0, n): one counting sort, by transposing a matrix with one entry a row."""
    k = len(key)
    rows = sp.csr_matrix((np.ones(k, np.int8), key, np.arange(k + 1, dtype=np.int32)), shape=(k, n))
    return rows.tocsc().indices
