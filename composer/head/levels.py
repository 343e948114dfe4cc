"""Levels: Catmull-Clark subdivision as sparse factors, one a level, applied in turn.

Level 0 is the cage. With n vertices, e edges and f polygons at one level, the next has n + e + f vertices: the
vertex points in the order of the vertices, then the edge points in the order of `Polygons.edges` (sorted by their
lower, then higher vertex), then the face points in the order of the polygons. Its polygons are quads, one for each
corner of each polygon in order: (vertex, edge to the next vertex, face, edge from the vertex before).

The rules of one step are in `composer.head.catmull_clark`. Every factor's rows are weights that are not negative
and sum to one, so a mask stays in [0, 1]. The factors are not composed into one matrix: that costs more time and memory
than applying them in turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.polygons import Polygons, read_only
from composer.head.catmull_clark import factor, finer_polygons
from composer.head.finer_uv import finer_uv
from composer.head.head import Head, InBetween, Shape
from composer.head.landmarks import Landmarks
from composer.head.stencil_step import LEAST_FACES, StencilStep
from composer.progress import Progress

HIGHEST_LEVEL = 8
"""The highest level. Each level has about four times the vertices of the one before. A design choice, no source."""


class Refinement:
    """One level of Catmull-Clark subdivision of given polygons: the finer connectivity, and the factor for values.

    `coarse` and `polygons` are the connectivity before and after; `matrix` (n1, n0) is the factor in float64.
    """

    def __init__(self, polygons: Polygons) -> None:
        """Take the polygons (n0 vertices) to subdivide once."""
        self.coarse = polygons

    @property
    def n_vertices(self) -> int:
        """Vertices n1 after the subdivision: vertices + edges + polygons before it."""
        return self.coarse.n_vertices + len(self.coarse.edges) + self.coarse.n_faces

    @cached_property
    def polygons(self) -> Polygons:
        """The finer connectivity: one quad for each corner of the coarse polygons, in the order of the corners."""
        return finer_polygons(self.coarse)

    @property
    def parent_face(self) -> NDArray[np.int32]:
        """(f1,) the coarse polygon of each finer quad."""
        return self.coarse.corner_face

    @cached_property
    def matrix(self) -> sp.csr_matrix:
        """(n1, n0) float64: row i holds the weights of the coarse vertices in the finer vertex i."""
        if "matrix32" in self.__dict__:
            return _sharing(self.matrix32, factor(self.coarse).data)
        return factor(self.coarse)

    @cached_property
    def matrix32(self) -> sp.csr_matrix:
        """(n1, n0) the factor in float32, sharing its indices with `matrix`."""
        if "matrix" in self.__dict__:
            return _sharing(self.matrix, self.matrix.data.astype(np.float32))
        return factor(self.coarse, np.float32)

    def apply(self, values: NDArray) -> NDArray:
        """Subdivide values at the coarse vertices, (n0,) or (n0, k); float32 stays float32.

        Raises MoueError where there is not one value a vertex.
        """
        values = np.asarray(values)
        if len(values) != self.coarse.n_vertices:
            raise MoueError(f"{len(values)} values for a level of {self.coarse.n_vertices} vertices")
        known = "matrix32" if values.dtype == np.float32 else "matrix"
        if known not in self.__dict__ and self._is_large:
            wide = values if values.dtype == np.float32 else values.astype(np.float64, copy=False)
            return self._stencils.apply(wide.reshape(len(wide), -1)).reshape(-1, *values.shape[1:])
        return getattr(self, known) @ values

    @property
    def _is_large(self) -> bool:
        """Whether values are subdivided without a matrix."""
        return self.coarse.n_faces >= LEAST_FACES and bool((self.coarse.counts == 4).all())

    @cached_property
    def _stencils(self) -> StencilStep:
        return StencilStep(self.coarse)

    def faces(self, chosen: NDArray) -> NDArray[np.int32]:
        """The finer quads of the coarse polygons `chosen` (indices), sorted."""
        on = np.zeros(self.coarse.n_faces, dtype=bool)
        on[chosen] = True
        return np.flatnonzero(on[self.parent_face]).astype(np.int32)

    def vertices(self, chosen: NDArray) -> NDArray[np.int32]:
        """The finer vertices whose coarse vertices are all in `chosen`."""
        on = np.zeros(self.coarse.n_vertices, dtype=bool)
        on[chosen] = True
        edges = on[self.coarse.edges].all(axis=1)
        starts = self.coarse.starts[:-1]
        faces = np.logical_and.reduceat(on[self.coarse.indices], starts) if len(starts) else np.zeros(0, dtype=bool)
        return np.flatnonzero(np.concatenate([on, edges, faces])).astype(np.int32)

    def curve(self, line: NDArray) -> NDArray[np.int32]:
        """A line of coarse vertices (k,) as finer ones, with the edge point between two vertices that share an edge."""
        coarse, line = self.coarse, np.asarray(line, dtype=np.int64)
        known = coarse.edges[:, 0].astype(np.int64) * coarse.n_vertices + coarse.edges[:, 1]
        low, high = np.minimum(line[:-1], line[1:]), np.maximum(line[:-1], line[1:])
        at = np.searchsorted(known, low * coarse.n_vertices + high)
        joined = (at < len(known)) & (known[np.minimum(at, len(known) - 1)] == low * coarse.n_vertices + high)
        finer = np.full(max(2 * len(line) - 1, 0), -1, dtype=np.int32)
        finer[0::2] = line
        finer[1::2] = np.where(joined, coarse.n_vertices + at, -1)
        return finer[finer >= 0]

    def permutation(self, mirror: NDArray) -> NDArray[np.int64]:
        """(n1,) the permutation of the finer vertices that belongs to one of the coarse vertices (n0,).

        Raises MoueError where an edge or a polygon does not map to one: the map then keeps positions, not topology.
        """
        coarse, mirror = self.coarse, np.asarray(mirror, dtype=np.int64)
        n, edges = coarse.n_vertices, coarse.edges.astype(np.int64)
        image = np.sort(mirror[edges], axis=1)
        edge = _places(edges, image)
        widest = int(coarse.counts.max(initial=0))
        column = np.arange(len(coarse.indices)) - coarse.starts[:-1][coarse.corner_face]
        loops, images = (np.full((coarse.n_faces, widest), n, dtype=np.int64) for _ in range(2))
        loops[coarse.corner_face, column] = coarse.indices
        images[coarse.corner_face, column] = mirror[coarse.indices]
        face = _places(np.sort(loops, axis=1), np.sort(images, axis=1))
        if (edge < 0).any() or (face < 0).any():
            raise MoueError(
                f"the mirror map takes {int((edge < 0).sum())} edges and {int((face < 0).sum())} polygons to none",
                hint="detail can be mirrored only where the polygons are mirror images",
            )
        return np.concatenate([mirror, n + edge, n + len(edges) + face])


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
    """Values (n,) or (n, k) subdivided by every factor in turn; without factors, the values themselves.

    >>> triangle = Polygons.from_faces([[0, 1, 2]], 3)
    >>> finer = refine(np.array([[0.0, 0, 0], [6, 0, 0], [0, 6, 0]]), levels(triangle, 1))
    >>> len(finer) == vertex_count(triangle, 1) == 7, finer[-1].tolist()  # the face point comes last
    (True, [2.0, 2.0, 0.0])
    """
    for step in factors:
        values = step.apply(values)
    return values


def vertex_count(polygons: Polygons, k: int) -> int:
    """Vertices at level k, without subdividing: V' = V + E + F, E' = 2 E + corners, F' = corners."""
    vertices, edges, faces, corners = polygons.n_vertices, 0, polygons.n_faces, len(polygons.indices)
    edges = len(polygons.edges)
    for _ in range(k):
        vertices, edges, faces = vertices + edges + faces, 2 * edges + corners, corners
        corners = 4 * faces
    return vertices


def head_at_level(
    head: Head, k: int, progress: Progress | None = None, factors: Sequence[Refinement] | None = None,
    neutral: NDArray | None = None,
) -> Head:  # fmt: skip
    """The head subdivided k times: neutral, shapes, in-betweens, parts, groups, materials, uv, colours.

    Deltas are subdivided like positions (the scheme is linear), so a pose of the finer head is the finer pose.
    The cage's vertices keep their numbers, so landmarks stay on them; a curve of vertices also gets the edge points
    between them.
    The OBJ whose text a bake rewrites does not fit the finer head, so `neutral_file` is None for k > 0.
    `factors` are those of `levels`, and `neutral` (n_k, 3) mm the finer one, if already computed.

    Raises MoueError where k is not in [0, 8].
    """
    factors = levels(head.polygons, k) if factors is None else factors
    if not factors:
        return head
    colours, uv, landmarks = head.colours, head.uv, head.landmarks
    neutral = refine(head.neutral, factors) if neutral is None else neutral
    parts, groups, materials = head.parts, dict(head.groups), dict(head.materials)
    uv = None if uv is None else finer_uv(head.polygons, uv, len(factors))
    for step in factors:
        colours = None if colours is None else step.apply(colours)
        landmarks = None if landmarks is None else _finer_landmarks(landmarks, step)
        parts = tuple(replace(part, vertices=read_only(step.vertices(part.vertices))) for part in parts)
        groups = {name: read_only(step.faces(faces)) for name, faces in groups.items()}
        materials = {name: read_only(step.faces(faces)) for name, faces in materials.items()}
    shapes = []
    for done, shape in enumerate(head.shapes):
        if progress is not None:
            progress(done / len(head.shapes), f"subdividing {shape.name}")
        shapes.append(_finer_shape(shape, factors))
    return head.with_(
        polygons=factors[-1].polygons, neutral=neutral, shapes=tuple(shapes), parts=parts, groups=groups,
        materials=materials, uv=uv, colours=colours, landmarks=landmarks, neutral_file=None,
    )  # fmt: skip


def _finer_landmarks(landmarks: Landmarks, step: Refinement) -> Landmarks:
    curves = {n: step.curve(c) if isinstance(c, np.ndarray) else c for n, c in landmarks.curves.items()}
    return Landmarks(landmarks.points, curves)


def _finer_shape(shape: Shape, factors: Sequence[Refinement]) -> Shape:
    between = tuple(InBetween(b.at, read_only(refine(b.delta, factors))) for b in shape.inbetweens)
    return Shape(shape.name, read_only(refine(shape.delta, factors)), between)


def _places(rows: NDArray, wanted: NDArray) -> NDArray[np.int64]:
    """(m,) the index in the distinct `rows` (r, c) of each of `wanted` (m, c), -1 where it is not among them."""
    both = np.concatenate([rows, wanted])
    number = np.unique(both, axis=0, return_inverse=True)[1].reshape(-1)
    place = np.full(len(both), -1, dtype=np.int64)
    place[number[: len(rows)]] = np.arange(len(rows))
    return place[number[len(rows) :]]


def _sharing(matrix: sp.csr_matrix, data: NDArray) -> sp.csr_matrix:
    """A matrix with other data over the same index arrays."""
    return sp.csr_matrix((data, matrix.indices, matrix.indptr), shape=matrix.shape, copy=False)
