"""Positions of the other mesh's vertices relative to the reference: from matched pieces, else from bounding boxes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.half_edges import HalfEdges
from composer.geometry.rigid import similarity
from composer.head.order_seeds import Paths
from composer.head.order_walk import Walk, Walked

Ints = NDArray[np.int32]
PATH_STEPS = 5
"""Steps of each of the three paths that describe the form around a corner: 16 vertices, 120 distances. Our choice."""
SAMPLE = 50_000
"""The number of evenly spread vertices for the motion of matched pieces; it limits time only."""


class Placing:
    """Positions of the other's vertices relative to the reference, from matched pieces, else from bounding boxes."""

    def __init__(self, a: HalfEdges, b: HalfEdges, mine: NDArray | None, other: NDArray | None) -> None:
        """Take the reference and the other mesh, and their positions (n, 3), which may be None."""
        self.known = mine is not None and other is not None and len(mine) > 0 and len(other) > 0
        self.a, self.b, self.learnt = a, b, False
        if mine is None or other is None or not self.known:
            return
        self.mine, self.other = np.asarray(mine, np.float64), np.asarray(other, np.float64)
        middle, self.size = _box(self.mine)
        other_middle, other_size = _box(self.other)
        self.seen = (self.other - other_middle) * (self.size / other_size) + middle
        self.carried = self.mine

    def learn(self, walk: Walk) -> None:
        """Use the motion of matched pieces for the others: of all of them, and of the nearest one.

        The skull carries eyeballs and teeth, the lids carry lashes; both motions are tried.
        """
        laid, open_ = np.flatnonzero(walk.vertex >= 0), np.flatnonzero(walk.vertex < 0)
        laid = laid[:: max(1, len(laid) // SAMPLE)]
        if not self.known or len(laid) < 4:
            return
        self.seen = similarity(self.other[walk.vertex[laid]], self.mine[laid])(self.other)
        self.carried = self.mine.copy()
        if len(open_):
            beside = laid[cKDTree(self.mine[laid]).query(self.mine[open_])[1]]
            self.carried[open_] += self.seen[walk.vertex[beside]] - self.mine[beside]
        self.learnt = True

    def error(self, patch: Walked) -> float:
        """RMS distance of a patch from its match, as a fraction of the head's diagonal."""
        va, vb = self.a.vertex[patch.corners], self.b.vertex[patch.others]
        off = min(((at[va] - self.seen[vb]) ** 2).sum(axis=1).mean() for at in (self.mine, self.carried))
        return float(np.sqrt(off)) / self.size

    def own_error(self, patch: Walked) -> float:
        """The same after the best similarity of the patch alone."""
        va, vb = self.a.vertex[patch.corners], self.b.vertex[patch.others]
        moved = similarity(self.other[vb], self.mine[va])(self.other[vb])
        return float(np.sqrt(((self.mine[va] - moved) ** 2).sum(axis=1).mean())) / self.size

    def turned_error(self, patch: Walked) -> float:
        """The same after the best translation of the patch alone."""
        off = self.mine[self.a.vertex[patch.corners]] - self.seen[self.b.vertex[patch.others]]
        return float(np.sqrt(((off - off.mean(axis=0)) ** 2).sum(axis=1).mean())) / self.size

    def nearest(self, corner: int) -> int | None:
        """The other's vertex nearest to that of a corner."""
        if not self.known:
            return None
        return int(np.argmin(((self.seen - self.mine[self.a.vertex[corner]]) ** 2).sum(axis=1)))

    def nearest_of(self, corner: int, others: Ints) -> Ints:
        """The other's corners, nearest first; in their order if no positions are known."""
        if not self.known:
            return others
        seen, v = self.seen[self.b.vertex[others]], self.a.vertex[corner]
        far = np.minimum(*(((seen - at[v]) ** 2).sum(axis=1) for at in (self.mine, self.carried)))
        return others[np.argsort(far, kind="stable")]

    def likeliest_of(self, corner: int, others: Ints, most: int) -> Ints:
        """At most `most` of the other's corners: half of them with the form most like that around `corner`, the
        rest the nearest. If there are no more, all of them in their order.
        """
        if len(others) <= most:
            return others
        near = self.nearest_of(corner, others)
        if not self.known:
            return near[:most]
        like = near[np.argsort(self._form_error(corner, near), kind="stable")][: most // 2]
        return np.concatenate([like, near[~np.isin(near, like)][: most - len(like)]])

    def _form_error(self, corner: int, others: Ints) -> NDArray[np.float64]:
        """(m,) the difference in form of the mesh around each of the other's corners from that around `corner`: the RMS
        difference of all distances between vertices on short paths, relative to the RMS distance. It does not change
        with motion or scale.
        """
        forms = []
        for mesh, points, corners in ((self.a, self.mine, np.array([corner])), (self.b, self.other, others)):
            at = points[Paths(mesh, corners, np.zeros(mesh.polygons.n_vertices, dtype=np.int32)).vertices(PATH_STEPS)]
            first, second = np.triu_indices(at.shape[1], 1)
            far = np.linalg.norm(at[:, first] - at[:, second], axis=2)
            size = np.sqrt((far * far).mean(axis=1, keepdims=True))
            forms.append(far / np.where(size > 0, size, 1.0))
        return np.sqrt(((forms[1] - forms[0]) ** 2).mean(axis=1))

    def paired(self, mine: Ints, other: Ints) -> Ints:
        """The `other` vertices (m,) in the order of `mine` (m,): each gets the nearest one not yet taken."""
        left = np.ones(len(other), dtype=bool)
        tree, out = cKDTree(self.seen[other]), np.empty_like(other)
        for i, point in enumerate(self.mine[mine]):
            near = np.atleast_1d(tree.query(point, k=min(8, len(other)))[1])
            near = near[left[near]]
            pick = int(near[0]) if len(near) else int(np.flatnonzero(left)[0])
            left[pick] = False
            out[i] = other[pick]
        return out


def _box(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """The centre of a bounding box and its diagonal, 1 where that is zero."""
    low, high = (np.array([end(points[:, i]) for i in range(3)]) for end in (np.min, np.max))
    return (low + high) / 2, float(np.linalg.norm(high - low)) or 1.0
