"""Gradient transfer: the skin of the new head deforms as the old one does (Sumner and Popovic, Deformation transfer
for triangle meshes, SIGGRAPH 2004), in the Poisson form of Botsch, Sumner, Pauly and Gross (2006).

A pose of the source gives every triangle a map S: what it does to the triangle's plane, and to its normal, which
turns with the triangle and grows with the root of its area (the fourth vertex of the paper). Applied to the edges of
the target's triangle, laid beside the source's, S says what they should become; the pose sought comes nearest to
that, weighted by cotangents. The plane's part of S is linear in the displacement, so all of it is one sparse matrix
K; the normals' part is a second one, N. With L the target's Laplacian and a small weight a at every vertex that
holds it to a given displacement u0,

    (L + a) u = K d + N m(d) + a u0

On the same neutral K is L and N is nothing, so d comes back. Both fans of every quad count, half each.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.surface import Surface, factorise

Floats = NDArray[np.float64]
THIN = 1e-4
"""A source triangle whose narrow side is below this (of its mean square edge) is not asked how it stretches across."""
# where an edge opposite each corner comes from, in the edges 01 and 02 of its triangle
OPPOSITE = np.array([(-1.0, 1.0), (0.0, -1.0), (1.0, 0.0)])


class GradientTransfer:
    """From displacements of `source` to displacements of `target`, surfaces of the same polygons, factored once."""

    def __init__(self, source: Surface, target: Surface, scale: float, hold: NDArray) -> None:
        """Take surfaces already turned alike, the ratio `scale` of their sizes, and the holding weights (n,).

        `hold` is `a` in this file's first formula, of the same size as the Laplacian's diagonal (no unit), not
        negative, and not all zero on any piece of the surface.
        """
        self.hold = hold
        self._corners = np.ascontiguousarray(source.fans[0].T)
        self._in_plane, self._across = _operators(source, target, scale)
        self._factor = factorise(target.laplacian + sp.diags(hold, format="csc"))
        self._rest = source.positions
        self._normal = self._rooted_normals(self._rest)

    def __call__(self, delta: NDArray, towards: NDArray) -> Floats:
        """(n, 3) mm from a displacement (n, 3) of the source, held to the displacement `towards` (n, 3)."""
        wanted = self._in_plane @ delta
        wanted += self._across @ np.ascontiguousarray((self._rooted_normals(self._rest + delta) - self._normal).T)
        wanted += self.hold[:, None] * towards
        return self._factor.solve(np.asfortranarray(wanted))

    def _rooted_normals(self, pose: Floats) -> Floats:
        """(3, T) the triangles' normals, long as the roots of their doubled areas; by coordinates, for speed."""
        one, two = np.empty(self._corners.shape), np.empty(self._corners.shape)
        for axis, column in enumerate(np.ascontiguousarray(pose.T)):
            first = column.take(self._corners[0])
            np.subtract(column.take(self._corners[1]), first, out=one[axis])
            np.subtract(column.take(self._corners[2]), first, out=two[axis])
        normal = np.empty_like(one)
        for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
            np.multiply(one[j], two[k], out=normal[i])
            normal[i] -= one[k] * two[j]
        squared = normal[0] ** 2
        squared += normal[1] ** 2
        squared += normal[2] ** 2
        normal /= np.sqrt(np.sqrt(np.maximum(squared, np.finfo(float).tiny)))
        return normal


def _operators(source: Surface, target: Surface, scale: float) -> tuple[sp.csr_matrix, sp.csr_matrix]:
    """K (n, n) on displacements and N (n, T) on the change of the triangles' rooted normals."""
    triangles, share = source.fans
    n, count = source.n_vertices, len(triangles)
    here, there = source.positions[triangles], target.positions[triangles]
    sides = here[:, 1:] - here[:, :1]
    gram = np.einsum("tik,tjk->tij", sides, sides)
    half = 0.5 * np.trace(gram, axis1=1, axis2=2)
    narrow = half - np.sqrt(np.maximum(half**2 - (gram[:, 0, 0] * gram[:, 1, 1] - gram[:, 0, 1] ** 2), 0.0))
    least = np.maximum(THIN * half, np.finfo(float).tiny)
    lack = np.maximum(least - narrow, 0.0)
    gram += lack[:, None, None] * np.eye(2)
    inverse = np.empty_like(gram)
    inverse[:, 0, 0], inverse[:, 1, 1] = gram[:, 1, 1], gram[:, 0, 0]
    inverse[:, 0, 1], inverse[:, 1, 0] = -gram[:, 0, 1], -gram[:, 1, 0]
    inverse /= np.maximum(gram[:, 0, 0] * gram[:, 1, 1] - gram[:, 0, 1] ** 2, np.finfo(float).tiny)[:, None, None]
    normal = _rooted(source.fan_vectors)
    squared = np.maximum((normal**2).sum(axis=1), np.finfo(float).tiny)
    sound = 1.0 - lack / least

    weight = 0.5 * share[:, None] * target.fan_cotangents
    plane = np.zeros((count, 3, 3))
    across = np.zeros((count, 3))
    for k in range(3):
        p, q = (k + 1) % 3, (k + 2) % 3
        edge = there[:, q] - there[:, p]
        wanted = np.einsum("tij,tj->ti", sides, edge) + (lack * scale)[:, None] * OPPOSITE[k]
        made_of = np.einsum("tij,tj->ti", inverse, wanted)
        along = np.stack([-made_of.sum(axis=1), made_of[:, 0], made_of[:, 1]], axis=1)
        out = sound * (edge * normal).sum(axis=1) / squared
        for corner, sign in ((q, 1.0), (p, -1.0)):
            plane[:, corner] += (sign * weight[:, k])[:, None] * along
            across[:, corner] += sign * weight[:, k] * out
    rows = np.repeat(triangles, 3, axis=1).ravel()
    columns = np.tile(triangles, (1, 3)).ravel()
    in_plane = sp.csr_matrix((plane.ravel(), (rows, columns)), shape=(n, n))
    place = np.repeat(np.arange(count), 3)
    return in_plane, sp.csr_matrix((across.ravel(), (triangles.ravel(), place)), shape=(n, count))


def _rooted(vectors: Floats) -> Floats:
    """(t, 3) vectors with the root of their lengths; zero stays zero."""
    length = np.sqrt(np.einsum("ij,ij->i", vectors, vectors))
    return vectors / np.sqrt(np.maximum(length, np.finfo(float).tiny))[:, None]
