"""Levels: Catmull-Clark subdivision as sparse factors, one a level, applied one after the other.

Level 0 is the cage. With n vertices, e edges and f polygons at one level, the next has n + e + f vertices: the
vertex points in the order of the vertices, then the edge points in the order of `Polygons.edges` (sorted by their
lower, then higher vertex), then the face points in the order of the polygons. Its polygons are quads, one for each
corner of each polygon in order: (vertex, edge to the next vertex, face, edge from the vertex before).

The rules (Catmull and Clark, Recursively generated B-spline surfaces on arbitrary topological meshes, 1978):
    face point    the mean Q_f of the polygon's vertices
    edge point    the mean of its two ends and its two face points; on a border, the middle
    vertex point  (Q + 2 R + (v - 3) P) / v with v the valence, Q the mean of the face points around, R the mean of
                  the middles of the edges around; on a border 3/4 of the vertex, 1/8 of each border neighbour
An edge where more than two polygons meet is treated as a border; a vertex with one such edge as an inner vertex,
with three or more as a corner, which stays. A vertex without polygons stays.

Every factor's rows are weights that are not negative and sum to one, so a mask stays in [0, 1]. Composing the
factors into one matrix costs more time and memory than applying them in turn, so nothing here does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.head.head import Head, InBetween, Shape, TextureCoordinates
from masks.polygons import Polygons, read_only

HIGHEST_LEVEL = 8
Progress = Callable[[float, str], None]


class Refinement:
    """One level of Catmull-Clark subdivision of given polygons: what it makes finer, and how it lifts values.

    `coarse` and `polygons` are the connectivity before and after; `matrix` (n1, n0) is the factor in float64.
    """

    def __init__(self, polygons: Polygons) -> None:
        """Take the polygons (n0 vertices) to be subdivided once."""
        self.coarse = polygons

    @property
    def n_vertices(self) -> int:
        """Vertices n1 after the subdivision: vertices + edges + polygons before it."""
        return self.coarse.n_vertices + len(self.coarse.edges) + self.coarse.n_faces

    @cached_property
    def polygons(self) -> Polygons:
        """The finer connectivity: one quad for each corner of the coarse polygons, in the order of the corners."""
        coarse = self.coarse
        n, e = coarse.n_vertices, len(coarse.edges)
        quads = _quads(coarse, coarse.indices, n + coarse.corner_edge, n + e + coarse.corner_face)
        return Polygons(np.full(len(quads), 4, dtype=np.int32), quads.ravel(), self.n_vertices)

    @property
    def parent_face(self) -> NDArray[np.int32]:
        """(f1,) the coarse polygon from which each finer quad comes."""
        return self.coarse.corner_face

    @cached_property
    def matrix(self) -> sp.csr_matrix:
        """(n1, n0) float64: row i holds the weights of the coarse vertices in the finer vertex i."""
        return _factor(self.coarse)

    @cached_property
    def matrix32(self) -> sp.csr_matrix:
        """(n1, n0) the factor in float32, sharing its indices with `matrix`."""
        full = self.matrix
        data = full.data.astype(np.float32)
        return sp.csr_matrix((data, full.indices, full.indptr), shape=full.shape, copy=False)

    def apply(self, values: NDArray) -> NDArray:
        """Lift values at the coarse vertices, (n0,) or (n0, k), to the finer ones; float32 stays float32.

        Raises MoueError where the values are not one a vertex.
        """
        values = np.asarray(values)
        if len(values) != self.coarse.n_vertices:
            raise MoueError(f"{len(values)} values for a level of {self.coarse.n_vertices} vertices")
        factor = self.matrix32 if values.dtype == np.float32 else self.matrix
        return factor @ values

    def faces(self, chosen: NDArray) -> NDArray[np.int32]:
        """The finer quads that come from the coarse polygons `chosen` (indices), sorted."""
        on = np.zeros(self.coarse.n_faces, dtype=bool)
        on[chosen] = True
        return np.flatnonzero(on[self.parent_face]).astype(np.int32)

    def vertices(self, chosen: NDArray) -> NDArray[np.int32]:
        """The finer vertices that lie wholly within the coarse vertices `chosen`: all their makers are chosen."""
        on = np.zeros(self.coarse.n_vertices, dtype=bool)
        on[chosen] = True
        edges = on[self.coarse.edges].all(axis=1)
        starts = self.coarse.starts[:-1]
        faces = np.logical_and.reduceat(on[self.coarse.indices], starts) if len(starts) else np.zeros(0, dtype=bool)
        return np.flatnonzero(np.concatenate([on, edges, faces])).astype(np.int32)

    def uv(self, coordinates: TextureCoordinates) -> TextureCoordinates:
        """Texture coordinates of the finer corners: linear inside each polygon, every seam kept.

        A polygon with a corner that has no coordinates gives quads without any.
        """
        coarse = self.coarse
        index = coordinates.indices
        whole = np.logical_and.reduceat(index >= 0, coarse.starts[:-1]) if coarse.n_faces else np.zeros(0, bool)
        corner_whole = whole[coarse.corner_face]
        islands = Polygons(coarse.counts[whole], index[corner_whole], len(coordinates.uv))
        m, e = len(coordinates.uv), len(islands.edges)
        quads = np.full((len(index), 4), -1, dtype=np.int32)
        quads[corner_whole] = _quads(islands, islands.indices, m + islands.corner_edge, m + e + islands.corner_face)
        middles = coordinates.uv[islands.edges].mean(axis=1) if e else np.zeros((0, 2))
        centres = _face_means(islands) @ coordinates.uv
        return TextureCoordinates(
            read_only(np.concatenate([coordinates.uv, middles, centres])), read_only(quads.ravel())
        )


def levels(polygons: Polygons, k: int) -> list[Refinement]:
    """The factors from level 0 to level k, first to last; an empty list for k = 0.

    Raises MoueError where k is not in [0, 8].
    """
    if not 0 <= k <= HIGHEST_LEVEL:
        raise MoueError(f"level {k} is not in 0 to {HIGHEST_LEVEL}")
    factors: list[Refinement] = []
    for _ in range(k):
        factors.append(Refinement(factors[-1].polygons if factors else polygons))
    return factors


def refine(values: NDArray, factors: Sequence[Refinement]) -> NDArray:
    """Values (n,) or (n, k) lifted through every factor in turn; without factors, the values themselves."""
    for factor in factors:
        values = factor.apply(values)
    return values


def vertex_count(polygons: Polygons, k: int) -> int:
    """Vertices at level k, without subdividing: V' = V + E + F, E' = 2 E + corners, F' = corners."""
    vertices, edges, faces, corners = polygons.n_vertices, 0, polygons.n_faces, len(polygons.indices)
    edges = len(polygons.edges)
    for _ in range(k):
        vertices, edges, faces = vertices + edges + faces, 2 * edges + corners, corners
        corners = 4 * faces
    return vertices


def head_at_level(head: Head, k: int, progress: Progress | None = None) -> Head:
    """The head subdivided k times: neutral, shapes, in-betweens, parts, groups, materials, uv, colours.

    Deltas are subdivided like positions (the scheme is linear), so a pose of the finer head is the finer pose.
    Vertex numbers of the cage stay what they were, so landmarks stay in place on the cage's vertices.
    The OBJ whose text a bake rewrites does not fit the finer head, so `neutral_file` is None for k > 0.
    Raises MoueError where k is not in [0, 8].
    """
    factors = levels(head.polygons, k)
    if not factors:
        return head
    neutral, colours, uv = head.neutral, head.colours, head.uv
    parts, groups, materials = head.parts, dict(head.groups), dict(head.materials)
    for factor in factors:
        neutral = factor.apply(neutral)
        colours = None if colours is None else factor.apply(colours)
        uv = None if uv is None else factor.uv(uv)
        parts = tuple(replace(part, vertices=read_only(factor.vertices(part.vertices))) for part in parts)
        groups = {name: read_only(factor.faces(faces)) for name, faces in groups.items()}
        materials = {name: read_only(factor.faces(faces)) for name, faces in materials.items()}
    shapes = []
    for done, shape in enumerate(head.shapes):
        if progress is not None:
            progress(done / len(head.shapes), f"subdividing {shape.name}")
        shapes.append(_finer_shape(shape, factors))
    return head.with_(
        polygons=factors[-1].polygons, neutral=neutral, shapes=tuple(shapes), parts=parts, groups=groups,
        materials=materials, uv=uv, colours=colours, neutral_file=None,
    )  # fmt: skip


def _finer_shape(shape: Shape, factors: Sequence[Refinement]) -> Shape:
    between = tuple(InBetween(b.at, read_only(refine(b.delta, factors))) for b in shape.inbetweens)
    return Shape(shape.name, read_only(refine(shape.delta, factors)), between)


def _quads(polygons: Polygons, vertex: NDArray, edge: NDArray, face: NDArray) -> NDArray[np.int32]:
    """(corners, 4) from the numbers that each corner's vertex, following edge and face have at the finer level."""
    before = np.empty(len(edge), dtype=np.int64)
    before[polygons.next_corner] = edge
    return np.stack([vertex, edge, face, before], axis=1).astype(np.int32)


def _face_means(polygons: Polygons) -> sp.csr_matrix:
    """(f, n) the mean over each polygon's vertices."""
    data = np.repeat(1.0 / polygons.counts, polygons.counts)
    return sp.csr_matrix((data, polygons.indices, polygons.starts), shape=(polygons.n_faces, polygons.n_vertices))


def _factor(polygons: Polygons) -> sp.csr_matrix:
    """The factor: each vertex and edge point as a mean of vertices and face points, then face points resolved."""
    n, f = polygons.n_vertices, polygons.n_faces
    means = _face_means(polygons)
    resolve = sp.vstack([sp.identity(n, format="csr"), means], format="csr")
    made_of = sp.vstack([_vertex_rows(polygons), _edge_rows(polygons)], format="csr") if n else sp.csr_matrix((0, f))
    return sp.vstack([made_of @ resolve, means], format="csr")


def _edge_rows(polygons: Polygons) -> sp.csr_matrix:
    """(e, n + f) edge points: a quarter of each end and face point where two polygons meet, else the middle."""
    e, n, f = len(polygons.edges), polygons.n_vertices, polygons.n_faces
    inner = polygons.edge_use == 2
    ends = np.where(inner, 0.25, 0.5)
    of_inner = inner[polygons.corner_edge]
    rows = np.concatenate([np.repeat(np.arange(e), 2), polygons.corner_edge[of_inner]])
    columns = np.concatenate([polygons.edges.ravel(), n + polygons.corner_face[of_inner]])
    data = np.concatenate([np.repeat(ends, 2), np.full(int(of_inner.sum()), 0.25)])
    return sp.csr_matrix((data, (rows, columns)), shape=(e, n + f))


def _vertex_rows(polygons: Polygons) -> sp.csr_matrix:
    """(n, n + f) vertex points from the vertex, its neighbours and its face points, borders by their own rule."""
    n, f, edges = polygons.n_vertices, polygons.n_faces, polygons.edges
    sharp = polygons.edge_use != 2
    sharp_at = np.bincount(edges[sharp].ravel(), minlength=n)
    around = np.bincount(polygons.indices, minlength=n)
    smooth = (sharp_at < 2) & (around > 0)
    border = sharp_at == 2
    valence = np.maximum(polygons.valence, 1).astype(np.float64)

    own = np.where(smooth, (valence - 2.0) / valence, np.where(border, 0.75, 1.0))
    to_neighbour = np.where(smooth, 1.0 / valence**2, 0.0)
    to_face = np.where(smooth, 1.0 / (valence * np.maximum(around, 1)), 0.0)
    along = np.where(border, 0.125, 0.0)

    start, end = edges[:, 0], edges[:, 1]
    forth, back = to_neighbour[start] + along[start] * sharp, to_neighbour[end] + along[end] * sharp
    face_weight = to_face[polygons.indices]
    data = np.concatenate([own, forth, back, face_weight])
    rows = np.concatenate([np.arange(n), start, end, polygons.indices])
    columns = np.concatenate([np.arange(n), end, start, n + polygons.corner_face])
    kept = data != 0.0
    return sp.csr_matrix((data[kept], (rows[kept], columns[kept])), shape=(n, n + f))
