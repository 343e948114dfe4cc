"""One Catmull-Clark step on any polygons: the finer connectivity and the sparse factor between the two.

The rules (Catmull and Clark, Recursively generated B-spline surfaces on arbitrary topological meshes, 1978):
    face point    the mean Q_f of the polygon's vertices
    edge point    the mean of its two ends and its two face points; on a border, the middle
    vertex point  (Q + 2 R + (v - 3) P) / v with v the valence, Q the mean of the face points around, R the mean of
                  the middles of the edges around; on a border 3/4 of the vertex, 1/8 of each border neighbour
An edge where more than two polygons meet is treated as a border; a vertex with one such edge as an inner vertex,
with three or more as a corner, which stays. A vertex without polygons stays.

The finer vertices are the vertex points in the order of the vertices, then the edge points in the order of
`Polygons.edges`, then the face points in the order of the polygons. The finer polygons are quads, one a corner:
(vertex, edge to the next vertex, face, edge from the vertex before).

Every level but the first consists of quads, and there nearly every row has a closed form (for an inner vertex of
valence v: 1 - 7/(4v) of itself, 3/(2 v^2) of each neighbour, 1/(4 v^2) of each opposite corner), written straight
into the factor's arrays. The other rows come from the rules, resolved by one sparse product.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import scipy.sparse as sp
from numpy.typing import DTypeLike, NDArray

from composer.geometry.polygons import Polygons, read_only

Bools = NDArray[np.bool_]


def finer_polygons(polygons: Polygons) -> Polygons:
    """The quads after one step: one for each corner of `polygons`, in the order of the corners."""
    n, e = polygons.n_vertices, len(polygons.edges)
    quads = corner_quads(polygons, polygons.indices, n + polygons.corner_edge, n + e + polygons.corner_face)
    finer = n + e + polygons.n_faces
    counts = read_only(np.full(len(quads), 4, dtype=np.int32))
    return Polygons(counts, read_only(quads.ravel()), finer, partial(_finer_edges, polygons))


def corner_quads(polygons: Polygons, vertex: NDArray, edge: NDArray, face: NDArray) -> NDArray[np.int32]:
    """(corners, 4) from the numbers that each corner's vertex, following edge and face have at the finer level."""
    quads = np.empty((len(edge), 4), dtype=np.int32)
    quads[:, 0], quads[:, 1], quads[:, 2] = vertex, edge, face
    quads[polygons.next_corner, 3] = edge
    return quads


def face_means(polygons: Polygons, dtype: DTypeLike = np.float64) -> sp.csr_matrix:
    """(f, n) the mean over each polygon's vertices."""
    data = np.repeat((1.0 / polygons.counts).astype(dtype), polygons.counts)
    return sp.csr_matrix((data, polygons.indices, polygons.starts), shape=(polygons.n_faces, polygons.n_vertices))


def factor(polygons: Polygons, dtype: DTypeLike = np.float64) -> sp.csr_matrix:
    """(n + e + f, n) the weights of the vertices in each finer vertex; rows are not negative and sum to one.

    >>> cube = Polygons.from_faces(
    ...     [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]], 8)
    >>> corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=float)
    >>> finer = factor(cube) @ corners
    >>> len(finer), finer[7].round(4).tolist()  # 8 corners, 12 edges, 6 faces; (F + 2R + (n - 3)P) / n at a corner
    (26, [0.5556, 0.5556, 0.5556])
    """
    n, f = polygons.n_vertices, polygons.n_faces
    if f and bool(np.all(polygons.counts == 4)):
        upper = _quad_rows(polygons, dtype)
    else:
        upper = _by_the_rules(polygons, np.ones(n, bool), np.ones(len(polygons.edges), bool)).astype(dtype)
    lower = face_means(polygons, dtype)
    data = np.concatenate([upper.data, lower.data])
    indices = np.concatenate([upper.indices, lower.indices.astype(upper.indices.dtype, copy=False)])
    starts = np.concatenate([upper.indptr, upper.indptr[-1] + lower.indptr[1:]]).astype(upper.indptr.dtype, copy=False)
    return sp.csr_matrix((data, indices, starts), shape=(n + len(polygons.edges) + f, n))


def _finer_edges(polygons: Polygons) -> tuple[NDArray[np.int32], NDArray[np.int64]] | None:
    """The finer polygons' sorted edges and the edge of each of their corners, without sorting.

    A finer edge joins a vertex to an edge point, or an edge point to a face point; both lists come in order out of
    transposing an incidence. None where a polygon runs along an edge twice, which makes a double edge.
    """
    n, e = polygons.n_vertices, len(polygons.edges)
    starts, corner_edge = polygons.starts, polygons.corner_edge
    ends = _transposed(polygons.edges.ravel(), np.arange(0, 2 * e + 1, 2), n)
    sides = _transposed(corner_edge, starts, e)
    if np.any((np.diff(sides.indices) == 0) & (np.diff(np.repeat(np.arange(e), np.diff(sides.indptr))) == 0)):
        return None
    edges = np.empty((2 * e + len(corner_edge), 2), dtype=np.int32)
    edges[: 2 * e, 0], edges[: 2 * e, 1] = np.repeat(np.arange(n), np.diff(ends.indptr)), n + ends.indices
    edges[2 * e :, 0] = np.repeat(np.arange(n, n + e), np.diff(sides.indptr))
    edges[2 * e :, 1] = n + e + sides.indices

    end_place = _inverse(ends.data)
    side_place = 2 * e + _inverse(sides.data)
    following = 2 * corner_edge + (polygons.edges[corner_edge, 0] != polygons.indices)
    before = np.empty_like(following)
    before[polygons.next_corner] = following ^ 1
    corner = np.empty((len(corner_edge), 4), dtype=np.int64)
    corner[:, 0], corner[:, 1], corner[:, 3] = end_place[following], side_place, end_place[before]
    corner[polygons.next_corner, 2] = side_place
    return edges, corner.ravel()


def _transposed(columns: NDArray, starts: NDArray, width: int) -> sp.csc_matrix:
    """The incidence of rows on `columns` by column: `.indices` the rows, ascending, `.data` the entry's number."""
    number = np.arange(len(columns), dtype=np.int32)
    return sp.csr_matrix((number, columns.astype(np.int32), starts), shape=(len(starts) - 1, width)).tocsc()


def _inverse(permutation: NDArray) -> NDArray[np.int64]:
    place = np.empty(len(permutation), dtype=np.int64)
    place[permutation] = np.arange(len(permutation))
    return place


def _quad_rows(polygons: Polygons, dtype: DTypeLike) -> sp.csr_matrix:
    """(n + e, n) vertex and edge points of a mesh of quads, closed forms wherever they hold."""
    n, e = polygons.n_vertices, len(polygons.edges)
    quads = polygons.indices.reshape(-1, 4)
    of_vertex, of_edge = corners_by_vertex(polygons), corners_by_edge(polygons)
    plain, inner = plain_rows(polygons, of_vertex, of_edge)
    around = np.diff(of_vertex.indptr)
    pair = of_edge.data[of_edge.indptr[:-1][inner][:, None] + np.array([0, 1])]
    rest = other_rows(polygons, plain, inner)
    lengths = np.concatenate([np.where(plain, 1 + 2 * around, 0), np.where(inner, 6, 0)])
    lengths[np.concatenate([~plain, ~inner])] = np.diff(rest.indptr)
    starts = np.zeros(n + e + 1, dtype=np.int64)
    np.cumsum(lengths, out=starts[1:])
    starts = starts.astype(np.int32 if starts[-1] < 2**31 else np.int64)
    indices = np.empty(int(starts[-1]), dtype=starts.dtype)
    data = np.empty(int(starts[-1]), dtype=dtype)

    v = around[plain].astype(np.float64)
    at = starts[:n][plain]
    indices[at], data[at] = np.flatnonzero(plain), 1.0 - 1.75 / v
    corners = of_vertex.data if plain.all() else of_vertex.data[np.repeat(plain, around)]
    first = np.cumsum(around[plain]) - around[plain]
    step = np.arange(len(corners), dtype=starts.dtype) - np.repeat(first, around[plain])
    at = np.repeat(at + 1, around[plain]) + 2 * step
    neighbour, opposite = np.roll(quads, -1, axis=1).ravel(), np.roll(quads, -2, axis=1).ravel()
    indices[at], data[at] = neighbour[corners], np.repeat((1.5 / v**2).astype(dtype), around[plain])
    indices[at + 1], data[at + 1] = opposite[corners], np.repeat((0.25 / v**2).astype(dtype), around[plain])

    at = starts[n:-1][inner][:, None] + np.arange(6, dtype=starts.dtype)
    indices[at[:, :2]] = polygons.edges[inner]
    last = np.roll(quads, -3, axis=1).ravel()
    indices[at[:, 2:4]], indices[at[:, 4:6]] = opposite[pair], last[pair]
    data[at] = np.array([0.375, 0.375, 0.0625, 0.0625, 0.0625, 0.0625], dtype=dtype)

    at = np.repeat(starts[:-1][np.concatenate([~plain, ~inner])] - rest.indptr[:-1], np.diff(rest.indptr))
    at = at + np.arange(rest.nnz)
    indices[at], data[at] = rest.indices, rest.data
    return sp.csr_matrix((data, indices, starts), shape=(n + e, n))


def corners_by_vertex(polygons: Polygons) -> sp.csc_matrix:
    """The corners at each vertex, ascending: those of vertex v are `.data[.indptr[v] : .indptr[v + 1]]`."""
    return _transposed(polygons.indices, polygons.starts, polygons.n_vertices)


def corners_by_edge(polygons: Polygons) -> sp.csc_matrix:
    """The corners from which each edge leaves, ascending, as those of `corners_by_vertex`."""
    return _transposed(polygons.corner_edge, polygons.starts, len(polygons.edges))


def plain_rows(polygons: Polygons, of_vertex: sp.csc_matrix, of_edge: sp.csc_matrix) -> tuple[Bools, Bools]:
    """(n,) the vertices and (e,) the edges of a mesh of quads whose rows have a closed form; `of_vertex` and `of_edge`
    are `corners_by_vertex` and `corners_by_edge`."""
    inner = polygons.edge_use == 2
    first = of_edge.indptr[:-1][inner]
    opposed = np.zeros(len(inner), dtype=bool)
    opposed[inner] = polygons.indices[of_edge.data[first]] != polygons.indices[of_edge.data[first + 1]]
    around = np.diff(of_vertex.indptr)
    plain = (around == polygons.valence) & (around > 0)
    plain[polygons.edges[~opposed].ravel()] = False
    return plain, inner


def other_rows(polygons: Polygons, plain: Bools, inner: Bools) -> sp.csr_matrix:
    """The rows of the vertices that are not `plain` (n,), then of the edges that are not `inner` (e,)."""
    return _by_the_rules(polygons, ~plain, ~inner)


def _by_the_rules(polygons: Polygons, vertices: Bools, edges: Bools) -> sp.csr_matrix:
    """The rows of the chosen vertex points, then of the chosen edge points, from the rules as they stand.

    A row is first a mean of vertices and face points, then the face points are resolved into vertices.
    """
    n = polygons.n_vertices
    resolve = sp.vstack([sp.identity(n, format="csr"), face_means(polygons)], format="csr")
    made_of = sp.vstack([_vertex_rules(polygons, vertices), _edge_rules(polygons, edges)], format="csr")
    return made_of @ resolve


def _edge_rules(polygons: Polygons, chosen: Bools) -> sp.csr_matrix:
    """(chosen, n + f) edge points: a quarter of each end and face point between two polygons, else the middle."""
    n, f = polygons.n_vertices, polygons.n_faces
    row = np.cumsum(chosen) - 1
    smooth = polygons.edge_use == 2
    ends = polygons.edges[chosen]
    corner = chosen[polygons.corner_edge] & smooth[polygons.corner_edge]
    rows = np.concatenate([np.repeat(row[chosen], 2), row[polygons.corner_edge[corner]]])
    columns = np.concatenate([ends.ravel(), n + polygons.corner_face[corner]])
    data = np.concatenate([np.repeat(np.where(smooth[chosen], 0.25, 0.5), 2), np.full(int(corner.sum()), 0.25)])
    return sp.csr_matrix((data, (rows, columns)), shape=(int(chosen.sum()), n + f))


def _vertex_rules(polygons: Polygons, chosen: Bools) -> sp.csr_matrix:
    """(chosen, n + f) vertex points from the vertex, its neighbours and its face points, borders by their rule."""
    n, f = polygons.n_vertices, polygons.n_faces
    row = np.cumsum(chosen) - 1
    sharp = polygons.edge_use != 2
    sharp_at = np.bincount(polygons.edges[sharp].ravel(), minlength=n)
    around = np.bincount(polygons.indices, minlength=n)
    smooth, border = (sharp_at < 2) & (around > 0), sharp_at == 2
    valence = np.maximum(polygons.valence, 1).astype(np.float64)

    own = np.where(smooth, (valence - 2.0) / valence, np.where(border, 0.75, 1.0))
    both = np.concatenate([polygons.edges, polygons.edges[:, ::-1]])
    both_sharp = np.concatenate([sharp, sharp])[chosen[both[:, 0]]]
    both = both[chosen[both[:, 0]]]
    beside = np.where(smooth[both[:, 0]], 1.0 / valence[both[:, 0]] ** 2, 0.125 * (border[both[:, 0]] & both_sharp))
    corner = chosen[polygons.indices] & smooth[polygons.indices]
    at = polygons.indices[corner]
    data = np.concatenate([own[chosen], beside, 1.0 / (valence[at] * around[at])])
    rows = np.concatenate([row[chosen], row[both[:, 0]], row[at]])
    columns = np.concatenate([np.flatnonzero(chosen), both[:, 1], n + polygons.corner_face[corner]])
    kept = data != 0.0
    return sp.csr_matrix((data[kept], (rows[kept], columns[kept])), shape=(int(chosen.sum()), n + f))
