"""The exact ring of a brush: the points of the surface at its radius.

A ring may be smaller than a triangle, so triangles are subdivided for it. Between corners at distances d_i from the
centre the distance follows from the identity |sum w_i p_i|^2 = sum w_i |p_i|^2 - sum_{i<j} w_i w_j |p_i - p_j|^2
(weights summing to one; Leibniz), which is exact wherever the surface between centre and triangle can be unrolled.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.contour import Crossings, Indices, contour
from composer.geometry.geodesic import checked_vertices
from composer.geometry.surface import Floats
from composer.geometry.triangles_about import TrianglesAbout
from masks.paint import Painter

SIDES = 6
"""Segments of a ring are at most about the radius divided by this. It is for display only."""
FINEST = 24
"""The most parts into which a triangle's sides are cut; it limits time only."""


def ring(painter: Painter, corners: ArrayLike, bary: ArrayLike, radius_mm: float, side: int | None = None) -> Crossings:
    """The rim of a dab of this radius: where the distance along the surface from the point of the polygon `corners`
    (c,) with weights `bary` (c,) is `radius_mm`. Like the dab itself it ends at barriers, stays on its `side` (None:
    the centre's) and does not pass a fold.

    Returns a (k,), b (k, 2) and t (k, 2): the points (1 - t0 - t1) P[a] + t0 P[b0] + t1 P[b1], two rows a
    segment; segments without length are left out. Raises MoueError where the corners are not vertices,
    the weights do not fit them or the radius is not above zero.
    """
    surface = painter.surface
    corner, weight = np.asarray(corners, dtype=np.int64), np.asarray(bary, dtype=np.float64)
    checked_vertices(corner, surface.n_vertices, "brush")
    if weight.shape != corner.shape or not abs(float(weight.sum()) - 1.0) < 1e-6:
        raise MoueError("a ring's centre needs one weight a corner, and they must sum to one")
    if not (np.isfinite(radius_mm) and radius_mm > 0):
        raise MoueError("a ring's radius must be above zero")
    stay = painter.side_at(corner, weight) if side is None else side
    ahead = _unit(weight @ surface.vertex_normals[corner])

    def faces(vertices: Indices) -> Floats:
        """How far each of some vertices is turned towards the brush, never quite 0."""
        toward = surface.vertex_normals[vertices] @ ahead
        toward = np.where(np.isin(vertices, corner), np.maximum(toward, 1e-3), toward)
        return np.where(toward > 0.0, toward, np.minimum(toward, -1e-6))

    def beside(vertices: Indices) -> NDArray[np.bool_]:
        """Which of some vertices lie on the side to stay on."""
        if not stay:
            return np.ones(len(vertices), dtype=bool)
        there, line = painter.sides[vertices], painter.barriers.curves[(stay - 1) // 2]
        return ((there == 0) | (there == stay)) & (~painter.barriers.blocked[vertices] | np.isin(vertices, line))

    reached, far = _distances(painter, corner, weight @ surface.positions[corner], radius_mm,
                              lambda v: (faces(v) > 0) & beside(v))  # fmt: skip
    triangles = surface.triangles[surface.derived(TrianglesAbout).of(reached)].astype(np.int64)
    used = np.unique(triangles)  # from here on vertices are counted among these: what lies elsewhere costs nothing
    triangles, positions = np.searchsorted(used, triangles), surface.positions[used]
    distance, known = np.full(len(used), np.inf), np.isin(reached, used)
    distance[np.searchsorted(used, reached[known])] = far[known]
    facing = faces(used)
    _extend(positions, triangles, distance, (facing <= 0) & beside(used), painter.barriers.blocked[used])
    a, b, t = _ring_of(positions, triangles, distance, facing, radius_mm)
    return used[a], used[b], t


def _unit(vector: Floats) -> Floats:
    return vector / max(float(np.linalg.norm(vector)), 1e-12)


def _distances(
    painter: Painter, corner: Indices, centre: Floats, radius: float, allowed: Callable[[Indices], NDArray[np.bool_]]
) -> tuple[Indices, Floats]:
    """The vertices (k,) that lie up to a little further from the centre than the radius, and how far in mm (k,)."""
    surface = painter.surface
    beyond = 1.5 * max(surface.mean_edge_mm, float(np.linalg.norm(surface.positions[corner] - centre, axis=1).max()))
    return painter.barriers.marching.from_point(corner, centre, radius + beyond, allowed)


def _extend(
    positions: Floats, triangles: Indices, distance: Floats, turned: NDArray[np.bool_], blocked: NDArray[np.bool_]
) -> None:
    """Extend distances to vertices just beyond a fold from their neighbours, so that the ring ends at the fold and not
    at the last vertex before it.
    """
    known = np.where(blocked, np.inf, distance)
    for i in range(3):
        for j in ((i + 1) % 3, (i + 2) % 3):
            vertex, neighbour = triangles[:, i], triangles[:, j]
            step = known[neighbour] + np.linalg.norm(positions[vertex] - positions[neighbour], axis=1)
            wanted = turned[vertex] & np.isfinite(step)
            np.minimum.at(distance, vertex[wanted], step[wanted])


def _ring_of(positions: Floats, triangles: Indices, distance: Floats, facing: Floats, radius: float) -> Crossings:
    """The line on which the distance is the radius, or on which the surface turns away if that is nearer."""
    points = positions[triangles]
    square = np.stack([((points[:, i] - points[:, j]) ** 2).sum(axis=1) for i, j in ((0, 1), (1, 2), (2, 0))], axis=1)
    longest = float(np.sqrt(square.max(initial=0.0)))
    cuts = int(np.clip(np.ceil(SIDES * longest / radius), 1, FINEST)) if len(triangles) else 1
    lattice, small = _lattice(cuts)
    corner_d = distance[triangles]
    known = np.isfinite(corner_d)
    pairs = np.stack([lattice[:, 0] * lattice[:, 1], lattice[:, 1] * lattice[:, 2], lattice[:, 2] * lattice[:, 0]])
    far = np.where(known, corner_d, 0.0) ** 2 @ lattice.T - square @ pairs
    over = np.sqrt(np.maximum(far, 0.0)) - radius
    over = np.maximum(over / radius, -facing[triangles] @ lattice.T)
    over = np.round(over, 9)  # so that two triangles agree on the side of a point on their edge
    over[(~known).astype(np.float64) @ lattice.T > 0.0] = np.inf
    count = len(lattice)
    finer = (np.arange(len(triangles))[:, None, None] * count + small[None]).reshape(-1, 3)
    a, b, t = contour(finer, -over.ravel(), 0.0)
    weight = (1.0 - t)[:, None] * lattice[a % count] + t[:, None] * lattice[b % count]
    corner = triangles[a // count]
    return corner[:, 0], corner[:, 1:], weight[:, 1:]


def _lattice(cuts: int) -> tuple[Floats, Indices]:
    """Barycentric weights (p, 3) of the points that cut a triangle's sides into `cuts` parts, and the small triangles
    (q, 3)."""
    place: dict[tuple[int, int], int] = {}
    for i in range(cuts + 1):
        for j in range(cuts + 1 - i):
            place[i, j] = len(place)
    weights = np.array([(cuts - i - j, i, j) for i, j in place], dtype=np.float64) / cuts
    small = []
    for i, j in place:
        if i + j < cuts:
            small.append((place[i, j], place[i + 1, j], place[i, j + 1]))
        if i + j < cuts - 1:
            small.append((place[i + 1, j], place[i + 1, j + 1], place[i, j + 1]))
    return weights, np.array(small, dtype=np.int64)
