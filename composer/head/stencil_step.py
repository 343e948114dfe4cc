"""One Catmull-Clark step of values on a large mesh of quads, without a matrix.

The rows of `composer.head.catmull_clark.factor` are the same three patterns over and over: an inner vertex of a
valence, an inner edge, a polygon. Here they are written block after block of rows and forgotten, with the weights and
in the order of that factor, so that the result is the same to the bit. A factor of 5.8 million rows takes 430 MB, and
thrice that while it is made; this keeps 8 bytes a row.
The few other rows, at borders and where the surface is no manifold, are the factor's own.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.catmull_clark import corners_by_edge, corners_by_vertex, other_rows, plain_rows

AT_ONCE = 1 << 14
"""Rows that are made together, so that their values stay in the processor's cache (our choice)."""
LEAST_FACES = 1 << 18
"""Meshes of at least so many quads are subdivided without a matrix: below, a matrix that is kept is fast and small (our
choice)."""


class StencilStep:
    """What one step on a mesh of quads needs to subdivide any values."""

    def __init__(self, polygons: Polygons) -> None:
        """Take the polygons, all of them quads, at least one."""
        self.polygons = polygons
        by_vertex, by_edge = corners_by_vertex(polygons), corners_by_edge(polygons)
        plain, inner = plain_rows(polygons, by_vertex, by_edge)
        around = np.diff(by_vertex.indptr)
        self._vertices: list[tuple[int, NDArray, NDArray]] = []
        for valence in np.unique(around[plain]).tolist():
            at = np.flatnonzero(plain & (around == valence)).astype(np.int32)
            self._vertices.append((int(valence), at, by_vertex.indptr[at]))
        self._corners = by_vertex.data
        self._inner = None if inner.all() else np.flatnonzero(inner).astype(np.int32)
        first = by_edge.indptr[:-1] if self._inner is None else by_edge.indptr[self._inner]
        self._pair = by_edge.data[first[:, None] + np.array([0, 1])]
        self._others = np.concatenate([np.flatnonzero(~plain), len(plain) + np.flatnonzero(~inner)])
        self._rest = other_rows(polygons, plain, inner)

    def apply(self, values: NDArray) -> NDArray:
        """(n + e + f, k) float64 or float32 values (n, k) subdivided once; as the factor of the same precision times
        them."""
        polygons = self.polygons
        n, e, f = polygons.n_vertices, len(polygons.edges), polygons.n_faces
        out = np.empty((n + e + f, values.shape[1]), dtype=values.dtype)
        quads = polygons.indices
        for valence, vertices, starts in self._vertices:
            v = np.float64(valence)
            pattern = _Pattern([1.0 - 1.75 / v, *[1.5 / v**2, 0.25 / v**2] * valence], values)
            for part in _blocks(len(vertices)):
                corner = self._corners[starts[part, None] + np.arange(valence, dtype=np.int32)]
                row = np.empty((len(corner), 1 + 2 * valence), dtype=np.int32)
                row[:, 0] = vertices[part]
                row[:, 1::2], row[:, 2::2] = quads[_along(corner, 1)], quads[_along(corner, 2)]
                out[vertices[part]] = pattern.sums(row)
        pattern = _Pattern([0.375, 0.375, 0.0625, 0.0625, 0.0625, 0.0625], values)
        for part in _blocks(len(self._pair)):
            edge = part if self._inner is None else self._inner[part]
            pair = self._pair[part]
            row = np.empty((len(pair), 6), dtype=np.int32)
            row[:, :2] = polygons.edges[edge]
            row[:, 2:4], row[:, 4:] = quads[_along(pair, 2)], quads[_along(pair, 3)]
            out[n : n + e][edge] = pattern.sums(row)
        pattern = _Pattern([0.25] * 4, values)
        for part in _blocks(f):
            out[n + e :][part] = pattern.sums(quads.reshape(-1, 4)[part])
        if len(self._others):
            rest = self._rest
            held = rest.data.astype(values.dtype), rest.indices, rest.indptr  # the matrix's own `astype` sorts its rows
            out[self._others] = sp.csr_matrix(held, shape=rest.shape, copy=False) @ values
        return out


class _Pattern:
    """Sums of `values` (n, k) with the same `weights` (w,) again and again."""

    def __init__(self, weights: list[float], values: NDArray) -> None:
        self._values, self._width = values, len(weights)
        self._weights = np.tile(np.array(weights).astype(values.dtype), AT_ONCE)
        self._starts = np.arange(0, len(self._weights) + 1, self._width, dtype=np.int32)

    def sums(self, rows: NDArray) -> NDArray:
        """(m, k) the weighted sums of the values at `rows` (m, w), at most AT_ONCE, each summed from the left."""
        shape = len(rows), len(self._values)
        held = self._weights[: rows.size], rows.ravel(), self._starts[: len(rows) + 1]
        return np.asarray(sp.csr_matrix(held, shape=shape, copy=False) @ self._values)


def _blocks(count: int) -> Iterator[slice]:
    """The rows from 0 to `count`, some at once."""
    for begin in range(0, count, AT_ONCE):
        yield slice(begin, min(begin + AT_ONCE, count))


def _along(corner: NDArray, steps: int) -> NDArray:
    """The corners that follow corners of quads in as many steps."""
    return (corner & ~3) | ((corner + steps) & 3)
