"""The skin prepared for seamless joins: gradients and Laplacian of any field on it, and the vertices held fixed.

All operators are sums over edges, including the diagonals of polygons. With c the cotangent weight of an edge, shared
among the diagonals of a polygon (one half each for a quad), the integral of grad x . grad y is the sum of
c (x_j - x_i)(y_j - y_i) over the edges (Pinkall and Polthier 1993). Slivers and inverted faces have no usable gradient:
they are left out, and their corners stay where the linear join puts them.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.polygons import read_only
from composer.geometry.stencils import Stencils
from composer.geometry.surface import Surface
from composer.geometry.vectors import unit_rows

Floats = NDArray[np.float64]

SLIVER = 1e-3
"""A triangle is a sliver if its doubled area is below this fraction of its longest edge squared. A design choice, no
source.
"""


class SeamlessSurface:
    """A surface and the operators that every join on it shares; built once for a topology and its neutral."""

    def __init__(self, surface: Surface, skin: NDArray | None = None) -> None:
        """Take the neutral's surface and `skin` (n,), whether a vertex may move; by default all may."""
        self.surface = surface
        n = surface.n_vertices
        triangles, share = surface.fans
        sliver = _slivers(surface)
        inverted = _inverted(surface)
        bad = inverted.copy()
        bad[_wholly_sliver(surface, sliver)] = True
        self.n_slivers, self.n_inverted = int((bad & ~inverted).sum()), int(inverted.sum())
        held = np.zeros(n, dtype=bool) if skin is None else ~np.asarray(skin, dtype=bool)
        held[surface.polygons.indices[bad[surface.polygons.corner_face]]] = True
        self.held: NDArray[np.bool_] = read_only(held)
        """(n,) vertices that stay where the linear join puts them."""
        cotangents = np.where(sliver[:, None], 0.0, 0.5 * share[:, None] * surface.fan_cotangents)
        a, b = triangles[:, [1, 2, 0]].astype(np.int64), triangles[:, [2, 0, 1]].astype(np.int64)
        keys, edge = np.unique(np.minimum(a, b) * n + np.maximum(a, b), return_inverse=True)
        self.ends = read_only(np.stack([keys // n, keys % n], axis=1).astype(np.int32))
        """(E, 2) every edge and diagonal once, the lower vertex first."""
        self.triangle_edges = read_only(edge.reshape(-1, 3))
        """(T, 3) the edge opposite each corner of `surface.fans`."""
        self.triangle_weights = read_only(cotangents)
        """(T, 3) the part of each triangle in the weight of the edge opposite each corner."""
        summed = np.bincount(edge.ravel(), weights=cotangents.ravel(), minlength=len(keys))
        self.edge_weights = read_only(summed.astype(np.float64, copy=False))
        """(E,) the cotangent weight of each edge."""
        i, j = self.ends.T
        off = sp.coo_matrix((np.tile(-self.edge_weights, 2), (np.r_[i, j], np.r_[j, i])), (n, n)).tocsr()
        self.laplacian: sp.csr_matrix = (off + sp.diags(-np.asarray(off.sum(axis=1)).ravel())).tocsr()
        """(n, n) the cotangent Laplacian without slivers, positive semidefinite."""
        self.graph: sp.csr_matrix = surface.derived(Stencils).graph
        """(n, n) length in mm of every edge and diagonal."""

    @property
    def n_vertices(self) -> int:
        """Number of vertices n."""
        return self.surface.n_vertices

    @property
    def mass(self) -> Floats:
        """(n,) mm^2 about each vertex, never zero."""
        return self.surface.mass


def _slivers(surface: Surface) -> NDArray[np.bool_]:
    """(T,) which triangles of `surface.fans` are slivers."""
    triangles = surface.fans[0]
    longest = np.zeros(len(triangles))
    for i in range(3):
        side = surface.positions[triangles[:, (i + 1) % 3]] - surface.positions[triangles[:, i]]
        np.maximum(longest, np.einsum("ij,ij->i", side, side), out=longest)
    return ~(np.linalg.norm(surface.fan_vectors, axis=1) > SLIVER * longest)


def _wholly_sliver(surface: Surface, sliver: NDArray) -> NDArray[np.int64]:
    """Polygons that are slivers in every triangulation: without slivers they keep less than half of their triangles."""
    polygons = surface.polygons
    owner = _fan_faces(surface)
    all_triangles = np.bincount(owner, weights=surface.fans[1], minlength=polygons.n_faces)
    good_triangles = np.bincount(owner[~sliver], weights=surface.fans[1][~sliver], minlength=polygons.n_faces)
    return np.flatnonzero(good_triangles < 0.5 * all_triangles)


def _fan_faces(surface: Surface) -> NDArray[np.int64]:
    """(T,) the polygon of each triangle of `surface.fans`, which are ordered by corner count, fan after fan."""
    polygons, owners = surface.polygons, []
    for corners in np.unique(polygons.counts):
        faces = np.flatnonzero(polygons.counts == corners)
        fans = {3: 1, 4: 2}.get(int(corners), int(corners))
        owners += [faces] * (fans * (int(corners) - 2))
    return np.concatenate(owners) if owners else np.zeros(0, dtype=np.int64)


def _inverted(surface: Surface) -> NDArray[np.bool_]:
    """(f,) whether a polygon is inverted, against its neighbours or in itself.

    It is inverted if its normal points against the summed area vectors of the other polygons at its corners, if one
    of its triangles points against its normal, or if its area is less than half of the areas of its triangles (a quad
    with its corners in crossed order).
    """
    polygons = surface.polygons
    corners, face = polygons.indices, polygons.corner_face
    about = np.zeros((surface.n_vertices, 3))
    for axis in range(3):
        about[:, axis] = np.bincount(corners, weights=surface.face_vectors[face, axis], minlength=surface.n_vertices)
    others = unit_rows(about[corners] - surface.face_vectors[face])
    along = np.einsum("ij,ij->i", others, surface.face_normals[face])
    against = np.bincount(face, weights=along, minlength=polygons.n_faces) < -0.5 * polygons.counts
    owner = _fan_faces(surface)
    inner = np.einsum("ij,ij->i", surface.fan_vectors, surface.face_normals[owner])
    areas = 0.5 * surface.fans[1] * np.linalg.norm(surface.fan_vectors, axis=1)
    folded = surface.face_areas < 0.5 * np.bincount(owner, weights=areas, minlength=polygons.n_faces)
    folded[owner[inner < -SLIVER * surface.fan_doubled_areas]] = True
    return against | folded
