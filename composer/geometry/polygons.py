"""The connectivity of a mesh: polygons of any size over numbered vertices, and the tables derived from it.

A mesh of f polygons over n vertices is two arrays: `counts` (f,), the number of corners of each polygon, and
`indices` (sum of counts,), its vertices, one polygon after the other, in file order. Everything else here is
derived from the two, once, when it is first asked for. All arrays are read-only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.errors import MoueError

Ints = NDArray[np.int32]
EdgeTable = tuple[Ints, NDArray[np.int64]]
"""`Polygons.edges` and `Polygons.corner_edge`."""


def read_only(array: NDArray) -> NDArray:
    """The same array, no longer writeable."""
    array.setflags(write=False)
    return array


def _own(numbers: NDArray) -> Ints:
    """The numbers as an array that nobody else writes to: a copy, where they are not read-only int32 already."""
    if isinstance(numbers, np.ndarray) and numbers.dtype == np.int32 and not numbers.flags.writeable:
        return numbers
    return read_only(np.array(numbers, dtype=np.int32))


class Polygons:
    """Connectivity of a polygon mesh: `counts` (f,) and `indices` (k,). Two meshes share it where `same_as` is true.

    >>> pyramid = Polygons.from_faces([[0, 1, 2, 3], [0, 4, 1], [1, 4, 2], [2, 4, 3], [3, 4, 0]], 5)
    >>> pyramid.n_faces, len(pyramid.edges), pyramid.counts.tolist(), bool(pyramid.border_vertices.any())
    (5, 8, [4, 3, 3, 3, 3], False)
    """

    def __init__(
        self,
        counts: NDArray,
        indices: NDArray,
        n_vertices: int,
        known_edges: EdgeTable | Callable[[], EdgeTable | None] | None = None,
    ) -> None:
        """Take `counts` (f,) and `indices` (k,), 0-based, and the number of vertices n.

        A caller that already has `edges` and `corner_edge` passes both as `known_edges`, or what makes them when they
        are asked for, None where it cannot; they are not checked.
        Raises MoueError where counts and indices disagree, a polygon has fewer than three corners, or an index
        lies outside [0, n).
        """
        self.counts: Ints = _own(counts)
        self.indices: Ints = _own(indices)
        self.n_vertices = int(n_vertices)
        self._known_edges = known_edges
        if int(self.counts.sum(dtype=np.int64)) != len(self.indices):
            raise MoueError("the polygons' corner counts do not add up to the number of corners")
        if len(self.counts) and int(self.counts.min()) < 3:
            raise MoueError(f"polygon {int(np.argmin(self.counts))} has fewer than three corners")
        if len(self.indices) and (int(self.indices.min()) < 0 or int(self.indices.max()) >= self.n_vertices):
            bad = int(np.flatnonzero((self.indices < 0) | (self.indices >= self.n_vertices))[0])
            face = int(np.searchsorted(np.cumsum(self.counts), bad, side="right"))
            raise MoueError(
                f"polygon {face} uses vertex {int(self.indices[bad])} of a mesh of {self.n_vertices} vertices"
            )

    @classmethod
    def from_faces(cls, faces: Iterable[Sequence[int]], n_vertices: int) -> Polygons:
        """From a list of vertex lists."""
        listed = [list(face) for face in faces]
        counts = np.array([len(face) for face in listed], dtype=np.int32)
        flat = np.array([v for face in listed for v in face], dtype=np.int32)
        return cls(counts, flat, n_vertices)

    @property
    def n_faces(self) -> int:
        """Number of polygons f."""
        return len(self.counts)

    def same_as(self, other: Polygons) -> bool:
        """Whether both have the same number of vertices and the same polygons in the same order."""
        return self is other or (
            self.n_vertices == other.n_vertices
            and np.array_equal(self.counts, other.counts)
            and np.array_equal(self.indices, other.indices)
        )

    def face(self, index: int) -> Ints:
        """The vertices of one polygon, in order."""
        return self.indices[self.starts[index] : self.starts[index + 1]]

    @cached_property
    def starts(self) -> NDArray[np.int64]:
        """(f + 1,) where each polygon begins in `indices`."""
        starts = np.zeros(len(self.counts) + 1, dtype=np.int64)
        np.cumsum(self.counts, out=starts[1:])
        return read_only(starts)

    @cached_property
    def corner_face(self) -> Ints:
        """(k,) the polygon of each corner."""
        return read_only(np.repeat(np.arange(self.n_faces, dtype=np.int32), self.counts))

    @cached_property
    def next_corner(self) -> NDArray[np.int64]:
        """(k,) the corner that follows each corner inside its polygon."""
        following = np.arange(1, len(self.indices) + 1, dtype=np.int64)
        following[self.starts[1:] - 1] = self.starts[:-1]
        return read_only(following)

    @cached_property
    def triangle_corners(self) -> NDArray[np.int64]:
        """(t, 3) every polygon as a fan about its first corner, as indices into `indices`."""
        per_face = self.counts - 2
        first = np.repeat(self.starts[:-1], per_face)
        fan_start = np.cumsum(per_face) - per_face
        step = np.arange(int(per_face.sum()), dtype=np.int64) - np.repeat(fan_start, per_face)
        return read_only(np.stack([first, first + step + 1, first + step + 2], axis=1))

    @cached_property
    def triangles(self) -> Ints:
        """(t, 3) every polygon as a fan about its first corner, as vertices."""
        return read_only(np.ascontiguousarray(self.indices[self.triangle_corners]))

    @cached_property
    def triangle_face(self) -> Ints:
        """(t,) the polygon of each triangle of `triangles`."""
        return read_only(np.repeat(np.arange(self.n_faces, dtype=np.int32), self.counts - 2))

    @property
    def knows_edges(self) -> bool:
        """Whether `edges` and `corner_edge` are there already, or made without sorting."""
        return self._known_edges is not None or "_edge_table" in self.__dict__

    @cached_property
    def _edge_table(self) -> EdgeTable:
        known = self._known_edges() if callable(self._known_edges) else self._known_edges
        self._known_edges = None
        if known is not None:
            return read_only(known[0]), read_only(known[1])
        a = self.indices.astype(np.int64)
        b = a[self.next_corner]
        key = np.minimum(a, b) * self.n_vertices + np.maximum(a, b)
        unique, corner_edge = np.unique(key, return_inverse=True)
        edges = np.stack([unique // self.n_vertices, unique % self.n_vertices], axis=1).astype(np.int32)
        return read_only(edges), read_only(corner_edge.reshape(-1).astype(np.int64))

    @cached_property
    def edges(self) -> Ints:
        """(e, 2) every edge once, the lower vertex first, sorted."""
        return self._edge_table[0]

    @cached_property
    def corner_edge(self) -> NDArray[np.int64]:
        """(k,) the edge from each corner to the next one of its polygon."""
        return self._edge_table[1]

    @cached_property
    def edge_use(self) -> NDArray[np.int64]:
        """(e,) how many polygons meet at each edge: 1 on a border, 2 inside, more where not a manifold."""
        return read_only(np.bincount(self.corner_edge, minlength=len(self.edges)))

    @cached_property
    def border_vertices(self) -> NDArray[np.bool_]:
        """(n,) whether a vertex lies on an open border."""
        on = np.zeros(self.n_vertices, dtype=bool)
        on[self.edges[self.edge_use == 1].ravel()] = True
        return read_only(on)

    @cached_property
    def valence(self) -> NDArray[np.int64]:
        """(n,) number of edges at each vertex."""
        return read_only(np.bincount(self.edges.ravel(), minlength=self.n_vertices))

    @cached_property
    def adjacency(self) -> sp.csr_matrix:
        """(n, n) 1.0 where two vertices share an edge."""
        e, n = self.edges, self.n_vertices
        ones = np.ones(2 * len(e))
        rows, columns = np.concatenate([e[:, 0], e[:, 1]]), np.concatenate([e[:, 1], e[:, 0]])
        return sp.csr_matrix((ones, (rows, columns)), shape=(n, n))

    @cached_property
    def components(self) -> Ints:
        """(n,) a number for each connected piece, 0 first, numbered by their lowest vertex."""
        _, label = connected_components(self.adjacency, directed=False)
        first = np.unique(label, return_index=True)[1]
        rank = np.empty(len(first), dtype=np.int32)
        rank[np.argsort(first)] = np.arange(len(first), dtype=np.int32)
        return read_only(rank[label])
