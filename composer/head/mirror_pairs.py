"""Hairs paired by the place of the skin on which they stand, the clear pairs first, which leaves the rest fewer.

What lies further off the skin says little of which hair is which: lids that are open on one side alone turn a lash by
millimetres, and the next root is half a millimetre away. Two alike pieces fit on each other in few ways; the one that
lies best is taken.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.head.mirror_on_skin import on_mirrored_skin
from composer.head.mirror_place import CLEAR, SELF_FAR, EdgeMap, piece_diagonals
from composer.head.mirror_walk import MirrorWalk

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
NEARER = 1.4
"""The same as CLEAR where no pair is clear any more. Our choice: with 1 some lashes of a head that shuts one eye got
the wrong partner."""
SHARE = 0.25
"""A piece is as far from an image as this fraction of its vertices at the skin are, the best of them: where lids shut,
the tips of lashes come to lie at other skin. Our choice: with half of them, 14 lashes of a head with one eye torn open
got the wrong partner.
"""
BEST, FEW = 0.5, 8
"""A way in which two pieces fit is taken if it lies off by at most the first fraction of the second best, and if there
are no more than the second number of them: a ball fits in many. Our choice."""
AROUND = 40
"""The vertices nearest to a piece's image whose pieces are compared with it. Our choice."""
CORNERS = 16
"""The corners nearest to a corner's image that are tried for it. Our choice."""
MOST = 400
"""Larger pieces, in vertices, are no hairs. It limits time only."""


def paired_on_skin(edges: EdgeMap, walk: MirrorWalk, points: NDArray, known: NDArray) -> Ints:
    """(n,) the partners `known` (n,), -1 for others, with those of hairs and the like that stand on the skin.

    `points` (n, 3) in any unit. A piece is paired as a whole or not at all.
    """
    piece = edges.mesh.polygons.components
    count, kind = np.bincount(piece), _kinds(edges)
    open_ = (np.bincount(piece, weights=known >= 0) == 0) & (count <= MOST) & (kind >= 0)
    own = np.flatnonzero(open_[piece])
    partner = np.array(known, dtype=np.int64)
    skin = on_mirrored_skin(edges.mesh.polygons, points, walk.skin, own)
    if skin is None:
        return partner
    hairs = _Hairs(edges, walk, points, np.zeros_like(points), np.zeros(len(points), dtype=bool))
    hairs.image[own], hairs.at_skin[own] = skin.image, skin.at_skin
    stands = np.unique(piece[own[skin.stands]])
    stands = stands[np.bincount(kind[stands])[kind[stands]] > 2]  # two of a size need no telling apart
    order = np.argsort(piece, kind="stable")
    starts = np.cumsum(count) - count
    for each in np.unique(kind[stands]):
        members = stands[kind[stands] == each]
        hairs.pair(order[starts[members][:, None] + np.arange(count[members[0]])], partner)
    return partner


class _Hairs:
    """Pieces that stand on the skin: `points` (n, 3), where the `image` (n, 3) of each vertex is expected, and whether
    a vertex is `at_skin` (n,), so that it counts."""

    def __init__(
        self, edges: EdgeMap, walk: MirrorWalk, points: NDArray, image: Floats, at_skin: NDArray[np.bool_]
    ) -> None:  # fmt: skip
        self._edges, self._walk, self._points = edges, walk, points
        self.image, self.at_skin = image, at_skin

    def pair(self, pieces: Ints, partner: Ints) -> None:
        """Enter in `partner` (n,) the partners of m `pieces` (m, v) of one size, each given by its vertices."""
        clearly = CLEAR
        while len(pieces) > 1:
            near = self._nearness(pieces)
            fits = np.zeros(len(pieces), dtype=bool)
            for i, j in _mutual(near, clearly):
                fits[[i, j]] = self._fit(pieces[i], pieces[j], partner)
            if not fits.any() and clearly == NEARER:
                return
            clearly = CLEAR if fits.any() else NEARER
            pieces = pieces[~fits]

    def _nearness(self, pieces: Ints) -> sp.csr_matrix:
        """(m, m) the inverse of how far two pieces are from being each other's image, in their diagonals; 0 where that
        is more than SELF_FAR."""
        m, size = pieces.shape
        at = self._points[pieces].reshape(-1, 3)
        owner = np.repeat(np.arange(m), size)
        diagonal = piece_diagonals(owner, at)
        apart = 4.0 * (float(np.linalg.norm(np.ptp(np.vstack([at, self.image[pieces.ravel()]]), axis=0))) or 1.0)
        tree, layered = cKDTree(at), cKDTree(np.column_stack([at, apart * owner]))  # layers keep the pieces apart
        rows, columns, values = [], [], []
        for i, own in enumerate(pieces):
            spots = self.image[own[self.at_skin[own]]]
            others = np.unique(tree.query(spots.mean(axis=0), k=min(AROUND, len(at)))[1] // size)
            asked = np.column_stack([np.tile(spots, (len(others), 1)), np.repeat(apart * others, len(spots))])
            away = np.quantile(layered.query(asked)[0].reshape(len(others), -1), SHARE, axis=1)
            some = away <= SELF_FAR * diagonal[i]
            rows.append(np.full(int(some.sum()), i))
            columns.append(others[some])
            values.append(1.0 / np.maximum(away[some] / max(diagonal[i], 1e-300), 1e-12))
        found = sp.csr_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(m, m))
        return found.minimum(found.T).tocsr()

    def _fit(self, mine: Ints, other: Ints, partner: Ints) -> bool:
        """Enter in `partner` (n,) those of a pair of pieces, `mine` (v,) and `other` (v,), in the way that clearly lies
        best; whether there is one."""
        mesh = self._edges.mesh
        corner = int(mesh.corners_at(int(mine[0]))[0])
        theirs = np.concatenate([mesh.corners_at(int(v)) for v in other])
        expected = self.image[[mesh.vertex[mesh.following[corner]], mesh.vertex[corner]]]
        ends = self._points[np.stack([mesh.vertex[theirs], mesh.vertex[mesh.following[theirs]]])]
        off = np.linalg.norm(ends - expected[:, None], axis=2).sum(axis=0)
        ways = self._walk.ways(corner, theirs[np.argsort(off, kind="stable")[:CORNERS]])
        ways = [(a, b) for a, b in ways if len(a) == len(mine)]
        errors = [self._off(a, b) for a, b in ways]
        order = np.argsort(errors, kind="stable")
        if not 0 < len(order) <= FEW or (len(order) > 1 and errors[order[0]] > BEST * errors[order[1]]):
            return False
        a, b = ways[order[0]]
        partner[a], partner[b] = b, a
        return True

    def _off(self, mine: Ints, partner: Ints) -> float:
        """How far the vertices `mine` (v,) at the skin expect their images from where each `partner` (v,) is."""
        away = np.linalg.norm(self.image[mine] - self._points[partner], axis=1)
        return float(np.quantile(away[self.at_skin[mine]], SHARE))


def _kinds(edges: EdgeMap) -> Ints:
    """(c,) a number for each size of a piece, in vertices and corners; -1 for vertices of no polygon."""
    piece = edges.mesh.polygons.components
    count = np.bincount(piece)
    corners = np.bincount(piece[edges.mesh.vertex], minlength=len(count))
    kind = np.unique(np.stack([count, corners], axis=1), axis=0, return_inverse=True)[1].reshape(-1)
    return np.where(corners > 0, kind, -1)


def _mutual(near: sp.csr_matrix, clearly: float) -> list[tuple[int, int]]:
    """The pairs of pieces that are each other's nearest, all others being more than `clearly` times as far, by the
    symmetric inverses `near` (m, m) of how far they are. A piece that is its own image is in none."""
    best = np.full(near.shape[0], -1)
    for i in range(near.shape[0]):
        values = near.data[near.indptr[i] : near.indptr[i + 1]]
        order = np.argsort(-values, kind="stable")
        if len(order) == 1 or (len(order) > 1 and values[order[0]] > clearly * values[order[1]]):
            best[i] = near.indices[near.indptr[i] + order[0]]
    return [(i, int(j)) for i, j in enumerate(best) if i < j and best[j] == i]
