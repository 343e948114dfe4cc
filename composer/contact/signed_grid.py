"""Signed distances of the nodes of a grid from a piece that is made of closed bodies, such as a row of teeth.

Each body counts alone, and the least of their distances is kept: exact outside of all, and at least as deep as that
inside (the union of distance fields). A body that is open, as a crown is in its gum, is closed by a fan over each of
its borders. A node is inside where the line from it along the grid's last axis leaves the body more often than it
enters it (the winding number of a closed surface, by crossings). Distances are to the triangles themselves, those whose
sampled places are nearest.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from composer.geometry.closest_on_triangle import TriangleFrames

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
PARTS_OF_AN_EDGE = 3
"""Places are taken over a triangle at thirds of its edges, to find which triangles are near."""
NEAREST = 4
"""Places whose triangles are measured."""
ASIDE = (1.3e-5, 2.1e-5)
"""Of a cell: so far aside of the nodes run the lines that are counted, since a line may not meet an edge."""


def signed_distances(
    points: NDArray, triangles: NDArray, low: NDArray, cell: float, shape: tuple[int, int, int], band: float
) -> Floats:  # fmt: skip
    """(gx, gy, gz) in the unit of `points` (n, 3): how far the nodes of a grid of that `shape`, from `low` (3,) on in
    steps of `cell`, lie outside of the `triangles` (t, 3), less than 0 inside, at most `band`."""
    values = np.full(shape, band)
    for places, faces in _bodies(np.asarray(points, dtype=np.float64), np.asarray(triangles, dtype=np.int64)):
        corners = (places[faces] - low) / cell
        first = np.maximum(np.floor(corners.min(axis=(0, 1)) - band / cell).astype(np.int64), 0)
        last = np.minimum(np.ceil(corners.max(axis=(0, 1)) + band / cell).astype(np.int64) + 1, shape)
        if (last > first).all():
            part = (slice(first[0], last[0]), slice(first[1], last[1]), slice(first[2], last[2]))
            own = _of_body(corners - first, tuple(last - first), band / cell) * cell
            values[part] = np.minimum(values[part], own)
    return values


def _bodies(points: Floats, triangles: Ints) -> list[tuple[Floats, Ints]]:
    """The bodies of a piece as places and faces, each closed."""
    used, faces = np.unique(triangles, return_inverse=True)
    points, faces = points[used], faces.reshape(-1, 3)
    ends = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    joined = sp.csr_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(points), len(points)))
    known = set(map(tuple, ends.tolist()))
    border = np.array([edge for edge in known if edge[::-1] not in known], dtype=np.int64).reshape(-1, 2)
    if len(border):
        rim = sp.csr_matrix((np.ones(len(border)), (border[:, 0], border[:, 1])), shape=joined.shape)
        loop = connected_components(rim, directed=False)[1][border[:, 0]]
        names, loop = np.unique(loop, return_inverse=True)
        tops = np.array([points[border[loop == i].ravel()].mean(axis=0) for i in range(len(names))])
        faces = np.concatenate([faces, np.column_stack([border[:, ::-1], len(points) + loop])])
        points = np.concatenate([points, tops])
    ends = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]]])
    joined = sp.csr_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(points), len(points)))
    count, body = connected_components(joined, directed=False)
    return [(points, faces[body[faces[:, 0]] == i]) for i in range(count) if (body[faces[:, 0]] == i).any()]


def _of_body(corners: Floats, shape: tuple[int, int, int], band: float) -> Floats:
    """The same of one closed body with `corners` (t, 3, 3), all in cells from the grid's first node."""
    winding = _winding(corners, shape)
    if winding.sum() < 0:
        winding = -winding  # a body that is turned inside out
    nodes = np.stack(np.meshgrid(*(np.arange(each) for each in shape), indexing="ij"), axis=-1).reshape(-1, 3)
    steps = PARTS_OF_AN_EDGE
    shares = np.array([(i, j, steps - i - j) for i in range(steps + 1) for j in range(steps + 1 - i)]) / steps
    tree = cKDTree(np.einsum("sk,tki->tsi", shares, corners).reshape(-1, 3), balanced_tree=False, compact_nodes=False)
    inside = (winding > 0).ravel()
    away = np.full(len(nodes), band)
    frames = TriangleFrames.of(corners)
    for asked, reach in ((np.flatnonzero(inside), np.inf), (np.flatnonzero(~inside), 1.5 * band)):
        if len(asked):
            found, near = tree.query(nodes[asked], k=NEAREST, distance_upper_bound=reach)
            on = np.isfinite(found[:, 0])
            places, last = nodes[asked[on]].astype(np.float64), len(corners) * len(shares) - 1
            each = [frames.squared(places, np.minimum(near[on, i], last) // len(shares)) for i in range(NEAREST)]
            away[asked[on]] = np.sqrt(np.min(each, axis=0))
    return np.where(inside, -away, np.minimum(away, band)).reshape(shape)


def _winding(corners: Floats, shape: tuple[int, int, int]) -> Ints:
    """(gx, gy, gz) how often each node lies in the body."""
    flat = corners[:, :, :2] - ASIDE
    low = np.maximum(np.ceil(flat.min(axis=1)), 0).astype(np.int64)
    wide = np.maximum(np.minimum(np.floor(flat.max(axis=1)).astype(np.int64) + 1, shape[:2]) - low, 0)
    many = wide[:, 0] * wide[:, 1]
    face = np.repeat(np.arange(len(corners)), many)
    place = np.arange(len(face)) - np.repeat(np.cumsum(many) - many, many)
    column = low[face] + np.column_stack([place // np.maximum(wide[face, 1], 1), place % np.maximum(wide[face, 1], 1)])
    a, b, c = (flat[face, i] - column for i in range(3))
    weights = np.stack([_area(b, c), _area(c, a), _area(a, b)], axis=1)
    whole = weights.sum(axis=1)
    met = ((weights > 0.0).all(axis=1) | (weights < 0.0).all(axis=1)) & (whole != 0.0)
    height = np.einsum("ki,ki->k", weights[met], corners[face[met], :, 2]) / whole[met]
    counts = np.zeros((*shape[:2], shape[2] + 1), dtype=np.int64)
    level = np.clip(np.ceil(height), 0, shape[2]).astype(np.int64)  # nodes below it have it ahead of them
    np.add.at(counts, (column[met, 0], column[met, 1], level), np.where(whole[met] > 0.0, 1, -1))
    return np.asarray(counts[:, :, ::-1].cumsum(axis=2)[:, :, ::-1][:, :, 1:])


def _area(one: Floats, other: Floats) -> Floats:
    return np.asarray(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])
