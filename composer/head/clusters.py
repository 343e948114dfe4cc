"""A surface of any polygons with few vertices: its vertices clustered, and values lifted back between the clusters.

Vertices that lie in one cell of a grid and hang together there are a cluster (Rossignac and Borrel 1993,
"Multi-resolution 3D approximations for rendering complex scenes", but for the hanging together: lips that touch stay
two). A triangle with its corners in three clusters becomes one of the coarser surface. Small pieces keep their own
vertices and polygons: they are what parts are told from.

Values go up to the closest place of the triangles about a vertex's own cluster, by barycentric weights, and are then
averaged over neighbours to about half a cell, so that no mask has creases along coarse edges. Every row of both is
weights that are not negative and sum to one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.errors import MoueError
from composer.geometry.closest_on_triangle import closest_on_triangles
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Floats, Surface

Ints = NDArray[np.int32]
SMALL = 4000
"""A piece of so many vertices, or fewer, is kept as it is. Our choice: eyeballs and lashes seldom have more."""
CRUMB = 4
"""A cluster of fewer vertices joins its largest neighbour: a corner of a cell that the surface just touches."""
ROUNDS = 3
"""Cells are made larger or smaller so often, until there are about as many clusters as asked for."""
HALF_CELL = 0.5
"""How far values are averaged, of a cell: the standard deviation of the steps taken. Chosen by eye."""


@dataclass(frozen=True, eq=False)
class Clusters:
    """`of` (n,) the cluster of each vertex, `vertices` (m,) the vertex in the middle of each, `polygons` of clusters,
    `faces` (g,) a fine polygon inside each; `between` (n, m) and `average` (n, n), applied `times`, lift values.
    """

    of: Ints
    vertices: Ints
    polygons: Polygons
    faces: Ints
    between: sp.csr_matrix
    average: sp.csr_matrix
    times: int

    def up(self, values: NDArray) -> NDArray:
        """Values (m,) or (m, k) at the clusters, at every vertex: (n,) or (n, k), of the same type. Raises MoueError
        where there is not one value a cluster."""
        if len(values) != len(self.vertices):
            raise MoueError(f"{len(values)} values for {len(self.vertices)} clusters")
        lifted = self.between @ values
        for _ in range(self.times):
            lifted = self.average @ lifted
        return np.asarray(lifted, dtype=values.dtype)


def clusters_of(surface: Surface, enough: int) -> Clusters:
    """About `enough` clusters of a surface's large pieces, and each vertex of the small ones for itself."""
    polygons, points = surface.polygons, surface.positions
    sizes = np.bincount(polygons.components)
    large = sizes[polygons.components] > SMALL
    area = float(surface.vertex_areas[large].sum())
    cell = float(np.sqrt(max(area, 1e-12) / max(enough, 1)))
    of = _clusters(surface, large, cell)
    for _ in range(ROUNDS if large.any() else 0):
        count = len(np.unique(of[large]))
        if 0.8 < count / enough < 1.25:
            break
        cell *= float(np.sqrt(count / enough))
        of = _clusters(surface, large, cell)
    vertices = _middles(points, of)
    coarse, faces = _polygons(polygons, of, large)
    between = _between(points, of, vertices, coarse, large)
    fine = float(np.median(surface.edge_lengths)) if len(surface.edge_lengths) else 1.0
    times = int(np.ceil(2.0 * (HALF_CELL * cell / max(fine, 1e-12)) ** 2))
    return Clusters(of, vertices, coarse, faces, between, _average(polygons, large), min(times, 40))


def _clusters(surface: Surface, large: NDArray[np.bool_], cell: float) -> Ints:
    """(n,) the cluster of each vertex, for cells `cell` mm wide, laid alike on both sides of x = 0."""
    n = surface.n_vertices
    place = np.floor(surface.positions / cell + 0.5).astype(np.int64)
    a, b = surface.polygons.edges.T
    same = large[a] & (place[a] == place[b]).all(axis=1)
    of = _joined(n, a[same], b[same])
    count = np.bincount(of)
    loose = large[a] & (of[a] != of[b])
    one, other = np.concatenate([of[a[loose]], of[b[loose]]]), np.concatenate([of[b[loose]], of[a[loose]]])
    crumbs = (count[one] < CRUMB) & (count[other] >= CRUMB)
    one, other = one[crumbs], other[crumbs]
    order = np.lexsort((other, count[other], one))
    last = np.r_[one[order][1:] != one[order][:-1], True] if len(one) else np.zeros(0, dtype=bool)
    joins = np.arange(len(count))
    joins[one[order][last]] = other[order][last]
    return np.unique(joins[of], return_inverse=True)[1].reshape(-1).astype(np.int32)


def _joined(n: int, a: NDArray, b: NDArray) -> Ints:
    graph = sp.csr_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(n, n))
    return connected_components(graph, directed=False)[1].astype(np.int32)


def _middles(points: Floats, of: Ints) -> Ints:
    """(m,) the vertex of each cluster nearest to the mean of all."""
    count = np.bincount(of)
    mean = np.stack([np.bincount(of, along) / count for along in points.T], axis=1)
    off = points - mean[of]
    order = np.lexsort((np.einsum("ij,ij->i", off, off).round(9), of))
    return order[np.cumsum(count) - count].astype(np.int32)


def _polygons(polygons: Polygons, of: Ints, large: NDArray[np.bool_]) -> tuple[Polygons, Ints]:
    """Triangles between the clusters of large pieces, each once, and the polygons of small ones; and of which of the
    fine polygons each comes."""
    triangles = polygons.triangles
    corner = of[triangles[large[triangles[:, 0]]]].astype(np.int64)
    face = polygons.triangle_face[large[triangles[:, 0]]]
    three = (corner[:, 0] != corner[:, 1]) & (corner[:, 1] != corner[:, 2]) & (corner[:, 2] != corner[:, 0])
    corner, face = corner[three], face[three]
    first = corner.argmin(axis=1)
    turned = np.take_along_axis(corner, (first[:, None] + np.arange(3)) % 3, axis=1)
    m = int(of.max(initial=-1)) + 1
    if m < 2**21:  # three of them make one whole number
        once = np.unique((turned[:, 0] * m + turned[:, 1]) * m + turned[:, 2], return_index=True)[1]
    else:
        once = np.unique(turned, axis=0, return_index=True)[1]
    own = np.flatnonzero(~large[polygons.indices[polygons.starts[:-1]]])
    kept = np.zeros(polygons.n_faces, dtype=bool)
    kept[own] = True
    small = of[polygons.indices[kept[polygons.corner_face]]]
    counts = np.concatenate([np.full(len(once), 3), polygons.counts[own]])
    indices = np.concatenate([turned[once].reshape(-1), small])
    return Polygons(counts, indices, m), np.concatenate([face[once], own]).astype(np.int32)


def _between(points: Floats, of: Ints, vertices: Ints, coarse: Polygons, large: NDArray[np.bool_]) -> sp.csr_matrix:
    """(n, m) the barycentric weights of the place closest to each vertex on the triangles about its cluster."""
    n, m = len(points), len(vertices)
    triangles = coarse.triangles
    corner = triangles.reshape(-1)
    order = np.argsort(corner, kind="stable")
    count = np.bincount(corner, minlength=m)
    start = np.cumsum(count) - count
    at = np.repeat(of[:, None], 3, axis=1).astype(np.int32)
    weight = np.tile([1.0, 0.0, 0.0], (n, 1))
    nearest = np.full(n, np.inf)
    asked = np.flatnonzero(large & (count[of] > 0))
    places = points[vertices]
    for number in range(int(count.max(initial=0))):
        asked = asked[count[of[asked]] > number]
        if not len(asked):
            break
        triangle = triangles[order[start[of[asked]] + number] // 3]
        bary, away = closest_on_triangles(points[asked], places[triangle])
        nearer = away < nearest[asked]
        own = asked[nearer]
        nearest[own], at[own], weight[own] = away[nearer], triangle[nearer], bary[nearer]
    rows = np.arange(n + 1, dtype=np.int64) * 3
    return sp.csr_matrix((weight.reshape(-1), at.reshape(-1), rows), shape=(n, m))


def _average(polygons: Polygons, large: NDArray[np.bool_]) -> sp.csr_matrix:
    """(n, n) half of each vertex and half of its neighbours' mean, on large pieces; the vertex alone elsewhere."""
    around = polygons.adjacency.astype(np.float64)
    count = np.asarray(around.sum(axis=1)).ravel()
    share = np.where(large & (count > 0), 0.5, 0.0)
    return sp.csr_matrix(sp.diags(share / np.maximum(count, 1.0)) @ around + sp.diags(1.0 - share))
