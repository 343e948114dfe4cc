"""Triangles joined into the polygons from which a program cut them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.geometry.half_edges import HalfEdges
from composer.geometry.polygons import Polygons


def joins(triangles: Polygons, counts: NDArray, positions: NDArray | None = None) -> Iterator[Polygons]:
    """Joins of `triangles` into polygons with `counts` (f,) corners over the same vertices.

    The first joins neighbours in the order of the file, as programs that triangulate write them. The second, for quads,
    joins pairs of triangles across the longest side of both, by `positions` (n, 3). None where the counts do not fit.
    """
    if not triangles.n_faces or int(triangles.counts.max()) != 3 or int((counts - 2).sum()) != triangles.n_faces:
        return
    mesh = HalfEdges(triangles)
    in_order = np.repeat(np.arange(len(counts)), counts - 2)
    groups = [in_order]
    if positions is not None and np.isin(counts, (3, 4)).all():
        groups.append(_pairs(mesh, np.asarray(positions, dtype=np.float64)))
    for group in groups:
        joined = _joined(mesh, group)
        if joined is not None and np.array_equal(np.sort(joined.counts), np.sort(counts)):
            yield joined


def _joined(mesh: HalfEdges, group: NDArray) -> Polygons | None:
    """The outlines of groups of triangles; None where one is not a single loop."""
    inner = (mesh.twin >= 0) & (group[mesh.face] == group[mesh.face[mesh.twin]])
    edge = np.flatnonzero(~inner)
    group_of = group[mesh.face[edge]]
    n = np.int64(mesh.polygons.n_vertices)
    begin, end = group_of * n + mesh.vertex[edge], group_of * n + mesh.vertex[mesh.following[edge]]
    order = np.argsort(begin, kind="stable")
    sorted_begin = begin[order]
    at = np.searchsorted(sorted_begin, end)
    if len(at) == 0 or (np.diff(sorted_begin) == 0).any() or not np.array_equal(sorted_begin[at % len(at)], end):
        return None
    following = order[at % len(at)]
    counts = np.bincount(group_of, minlength=int(group.max()) + 1)
    if (counts < 3).any():
        return None
    now = np.full(len(counts), -1)
    now[group_of[::-1]] = np.arange(len(edge))[::-1]  # the first edge of each group in the file
    starts = np.cumsum(counts) - counts
    indices = np.full(len(edge), -1, dtype=np.int64)
    seen = np.zeros(len(edge), dtype=bool)
    for step in range(int(counts.max())):
        open_ = counts > step
        indices[starts[open_] + step] = mesh.vertex[edge[now[open_]]]
        seen[now[open_]] = True
        now[open_] = following[now[open_]]
    return Polygons(counts, indices, mesh.polygons.n_vertices) if seen.all() else None


def _pairs(mesh: HalfEdges, points: NDArray[np.float64]) -> NDArray[np.int64]:
    """A group for each triangle: first pairs with the same longest side, then neighbours among the rest."""
    side = np.linalg.norm(points[mesh.vertex] - points[mesh.vertex[mesh.following]], axis=1).reshape(-1, 3)
    group = np.arange(len(side))
    free = np.ones(len(side), dtype=bool)
    for rank in range(3):
        corner = 3 * np.arange(len(side)) + np.argsort(-side, axis=1, kind="stable")[:, rank]
        across = mesh.twin[corner]
        other = np.where(across >= 0, mesh.face[across], -1)
        good = (other >= 0) & free & free[other]
        good[good] = corner[other[good]] == across[good]
        group[good] = np.minimum(group[good], other[good])
        free[good] = False
    for triangle in np.flatnonzero(free).tolist():
        for across in mesh.twin[3 * triangle : 3 * triangle + 3].tolist():
            if across >= 0 and free[triangle] and free[mesh.face[across]]:
                group[triangle] = group[mesh.face[across]] = min(triangle, int(mesh.face[across]))
                free[triangle] = free[mesh.face[across]] = False
    return np.unique(group, return_inverse=True)[1].reshape(-1).astype(np.int64)
