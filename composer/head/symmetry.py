"""Which vertex mirrors which across the midline plane x = 0."""

from __future__ import annotations

from os import PathLike

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.errors import MoueError

TOLERANCE = 1e-4
"""Of the bounding box's diagonal."""


def mirror_map(
    positions: NDArray, tolerance: float = TOLERANCE, where: str | PathLike[str] | None = None
) -> NDArray[np.int32]:
    """(n,) int32: pi with pi[pi[v]] = v, where vertex pi[v] lies at the reflection of v under x -> -x.

    `positions` (n, 3) in any unit. Two vertices are partners where each is the nearest to the other's
    reflection and within `tolerance` of the bounding box's diagonal; a vertex on the midline is its own
    partner. Vertices that share a place (lips closed at rest) cannot be told apart by place: among them
    partners are taken in order. Raises MoueError with the count of vertices that have no partner.
    """
    points = np.ascontiguousarray(positions, dtype=np.float64)
    if not len(points):
        return np.zeros(0, dtype=np.int32)
    reach = tolerance * float(np.linalg.norm(np.ptp(points, axis=0)))
    reflected = points * np.array([-1.0, 1.0, 1.0])
    distance, partner = cKDTree(points).query(reflected)
    everyone = np.arange(len(points))
    good = (partner[partner] == everyone) & (distance <= reach)
    if not good.all():
        partner, good = _shared_places(points, partner, good, distance <= reach)
    if not good.all():
        lost = int(np.count_nonzero(~good))
        first = int(np.argmin(good))
        raise MoueError(
            f"{lost} of {len(points)} vertices have no mirror partner across x = 0 (vertex {first} first)",
            where,
            hint="a mirror needs a symmetric neutral, centred on x = 0",
        )
    found: NDArray[np.int32] = partner.astype(np.int32)
    return found


def _shared_places(
    points: NDArray, partner: NDArray, good: NDArray[np.bool_], close: NDArray[np.bool_]
) -> tuple[NDArray, NDArray[np.bool_]]:
    """Pair the vertices of one place with those of the mirrored place, in order, where they are as many."""
    _, place = np.unique(points, axis=0, return_inverse=True)
    place = place.reshape(-1)
    order = np.argsort(place, kind="stable")
    begin = np.searchsorted(place[order], np.arange(int(place.max()) + 1))
    count = np.bincount(place)
    rank = np.empty(len(points), dtype=np.intp)
    rank[order] = np.arange(len(points)) - begin[place[order]]
    mirrored = place[partner]
    fits = close & (count[mirrored] == count[place])
    paired = np.where(fits, order[begin[mirrored] + np.minimum(rank, count[mirrored] - 1)], partner)
    return paired, fits & (paired[paired] == np.arange(len(points)))
