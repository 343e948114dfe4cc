"""Places of the skin that look at each other across a gap: lips, lids, the walls of a slit.

Two vertices face each other where they are near, their normals are opposed, and each lies before the other. Where they
coincide (lips closed to nothing) normals do not matter. Vertices of one border that are near in space and far along
the border face each other too: an open mouth of a mask.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from composer.geometry.polygons import Polygons

Floats = NDArray[np.float64]
OPPOSED = -0.3
"""Cosine between the normals of a pair, at most."""
BEFORE = -0.35
"""Cosine between a normal and the way across, at least: lips that touch and have slid along each other still count."""
COINCIDENT = 1e-6
ALONG = 3.0
"""A pair of one border lies this many times further apart along it than in space."""


@dataclass(frozen=True, eq=False)
class Facing:
    """Pairs of vertices `a`, `b` (p,), how far apart they are (p,) mm, and (p, 3) the unit way that parts them: moving
    b along it and a against it draws them apart. `coincident` (p,) where they share a place and the way means nothing.
    """

    a: NDArray[np.int64]
    b: NDArray[np.int64]
    apart: Floats
    way: Floats
    coincident: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.a)

    def some(self, which: NDArray) -> Facing:
        """Only the pairs `which` (p,) bool or indices."""
        return Facing(*(getattr(self, name)[which] for name in ("a", "b", "apart", "way", "coincident")))


def facing_pairs(positions: Floats, normals: Floats, among: NDArray, reach: float) -> Facing:
    """The pairs among vertices `among` (k,) no further apart than `reach` mm that look at each other."""
    points = positions[among]
    near = cKDTree(points).query_pairs(reach, output_type="ndarray")
    a, b = among[near[:, 0]].astype(np.int64), among[near[:, 1]].astype(np.int64)
    off = positions[b] - positions[a]
    apart = np.linalg.norm(off, axis=1)
    same = apart < COINCIDENT * (float(np.ptp(points)) if len(points) else 1.0)
    across = off / np.maximum(apart, 1e-12)[:, None]
    seen = np.einsum("ij,ij->i", normals[a], normals[b]) < OPPOSED
    seen &= np.einsum("ij,ij->i", normals[a], across) > BEFORE
    seen &= np.einsum("ij,ij->i", normals[b], across) < -BEFORE
    kept = same | seen
    way = normals[a[kept]] - normals[b[kept]]
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
    return Facing(a[kept], b[kept], apart[kept], way, same[kept])


def border_pairs(polygons: Polygons, positions: Floats, among: NDArray[np.bool_], reach: float) -> Facing:
    """The pairs of one border, among the vertices where `among` (n,), near in space and far along it."""
    nothing = np.zeros(0, dtype=np.int64)
    none = Facing(nothing, nothing, np.zeros(0), np.zeros((0, 3)), np.zeros(0, dtype=bool))
    edges = polygons.edges[polygons.edge_use == 1]
    edges = edges[among[edges[:, 0]]]
    if not len(edges):
        return none
    vertices, place = np.unique(edges, return_inverse=True)
    place = place.reshape(-1, 2)
    length = np.linalg.norm(positions[edges[:, 0]] - positions[edges[:, 1]], axis=1)
    graph = sp.csr_matrix((np.maximum(length, 1e-12), (place[:, 0], place[:, 1])), shape=(len(vertices),) * 2)
    near = cKDTree(positions[vertices]).query_pairs(reach, output_type="ndarray")
    loop = connected_components(graph, directed=False)[1]
    near = near[loop[near[:, 0]] == loop[near[:, 1]]]
    if not len(near):
        return none
    starts, row = np.unique(near[:, 0], return_inverse=True)
    far = dijkstra(graph, directed=False, indices=starts, limit=6 * reach)
    apart = np.linalg.norm(positions[vertices[near[:, 0]]] - positions[vertices[near[:, 1]]], axis=1)
    kept = far[row, near[:, 1]] > np.maximum(ALONG * apart, 2 * reach)
    a, b = vertices[near[kept, 0]].astype(np.int64), vertices[near[kept, 1]].astype(np.int64)
    way = positions[b] - positions[a]
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
    return Facing(a, b, apart[kept], way, apart[kept] < 1e-9)


def joined(one: Facing, other: Facing) -> Facing:
    """The pairs of both."""
    names = ("a", "b", "apart", "way", "coincident")
    return Facing(*(np.concatenate([getattr(one, name), getattr(other, name)]) for name in names))
