"""Pieces that place alone makes clear: every vertex lies far nearer to one vertex of the other mesh than to any other.

Hundreds of hairs are the same mesh. To walk each of them in every way in which it might fit takes long; where the
largest piece has shown how the meshes lie, most of them lie on their match and near nothing else. What is found here
would be chosen among the ways as well, by the same evidence: it is only found for all pieces at once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.half_edges import HalfEdges
from composer.head.order_walk import Walk

Ints = NDArray[np.int32]
Flags = NDArray[np.bool_]
CLEAR = 0.25
"""A vertex is clear if its match is nearer than this fraction of the distance to the second nearest vertex. Our choice:
half of what decides among the ways of a piece, because a way may turn a piece and leave some of its vertices in place.
"""


def clear_pieces(walk: Walk, places: tuple[NDArray, ...], other_places: NDArray) -> tuple[Ints, Ints]:
    """The corners (m,) of unmatched pieces that lie clearly on a piece of the other mesh, and their matches (m,) there.

    `places`: the positions (n, 3) in which the reference may lie, `other_places` (n, 3) the other's, in one unit. A
    piece is clear if each of its vertices is (`CLEAR`), on the same vertex in all `places`, and if the map of its
    corners keeps polygons, neighbours and open borders.
    """
    mine, other = walk.reference, walk.other
    free = np.flatnonzero(walk.polygon[mine.face] < 0).astype(np.int32)
    none = free[:0], free[:0]
    vertices, theirs = np.unique(mine.vertex[free]), np.unique(other.vertex[walk.from_polygon[other.face] < 0])
    theirs = theirs[walk.from_vertex[theirs] < 0]
    if not len(vertices) or len(theirs) < 2:
        return none
    onto, clear = _nearest(vertices, theirs, places, other_places)
    match = np.full(mine.polygons.n_vertices, -1, dtype=np.int64)
    match[vertices] = np.where(clear & (walk.vertex[vertices] < 0), onto, -1)
    corner = _corners(mine, other, free, match)
    good = corner[free] >= 0
    piece = mine.pieces[mine.face[free]]
    bad = np.zeros(int(piece.max()) + 1, dtype=bool)
    bad[piece[~good]] = True
    good &= ~bad[piece]
    bad[piece[good & ~_kept(mine, other, free, np.where(good, corner[free], 0), corner)]] = True
    taken = free[good & ~bad[piece]]
    return taken, corner[taken].astype(np.int32)


def _nearest(vertices: Ints, theirs: Ints, places: tuple[NDArray, ...], other: NDArray) -> tuple[Ints, Flags]:
    """(m,) the nearest of `theirs` to each of `vertices` (m,), and whether it is clear and the same in all places."""
    tree = cKDTree(other[theirs])
    found, clear = np.full(len(vertices), -1, dtype=np.int32), np.ones(len(vertices), dtype=bool)
    for place in places:
        away, near = tree.query(place[vertices], k=2)
        nearest = theirs[near[:, 0]]
        clear &= (away[:, 0] < CLEAR * away[:, 1]) & ((found < 0) | (found == nearest))
        found = nearest
    clear &= np.bincount(found, minlength=len(other))[found] == 1
    return found, clear


def _corners(mine: HalfEdges, other: HalfEdges, free: Ints, match: NDArray[np.int64]) -> NDArray[np.int64]:
    """(k,) the other's corner of the edge between the matches of each free corner's ends, -1 where it is not one."""
    n = np.int64(other.polygons.n_vertices)
    keys = other.vertex.astype(np.int64) * n + other.vertex[other.following]
    order = np.argsort(keys, kind="stable")
    begin, end = match[mine.vertex[free]], match[mine.vertex[mine.following[free]]]
    wanted = np.where((begin >= 0) & (end >= 0), begin * n + end, -1)
    first, after = (np.searchsorted(keys[order], wanted, side=side) for side in ("left", "right"))
    corner = np.full(len(mine.vertex), -1, dtype=np.int64)
    corner[free] = np.where(after - first == 1, order[np.minimum(first, len(order) - 1)], -1)
    return corner


def _kept(mine: HalfEdges, other: HalfEdges, free: Ints, there: NDArray[np.int64], corner: NDArray[np.int64]) -> Flags:
    """(m,) whether each free corner and its match `there` (m,) lie in alike polygons with alike neighbours."""
    twin, across = mine.twin[free], other.twin[there]
    beside = np.where(twin >= 0, corner[twin] == across, across == twin)
    following = corner[mine.following[free]] == other.following[there]
    sizes = mine.polygons.counts[mine.face[free]] == other.polygons.counts[other.face[there]]
    return np.asarray(beside & following & sizes)
