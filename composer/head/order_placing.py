"""Where the other mesh's vertices are, seen from the reference: by what is laid, or else by their boxes."""

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
"""Steps of each of the three paths by which the form about a corner is told: 16 vertices, 120 distances."""
SAMPLE = 50_000
"""Vertices, evenly spread, from which the motion of what is laid is taken."""


class Placing:
    """Where the other's vertices are, seen from the reference: by what is laid, or else by their boxes."""

    def __init__(self, a: HalfEdges, b: HalfEdges, mine: NDArray | None, other: NDArray | None) -> None:
        """Take the reference and the other mesh, and their places (n, 3), which may be unknown."""
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
        """Take the motion of what is laid for the motion of all: as a whole, and beside that, of what is nearest.

        The skull carries eyeballs and teeth, the lids carry lashes; which it is nobody has said.
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
        """RMS distance of a patch from where it is laid, of the head's size."""
        va, vb = self.a.vertex[patch.corners], self.b.vertex[patch.others]
        off = min(((at[va] - self.seen[vb]) ** 2).sum(axis=1).mean() for at in (self.mine, self.carried))
        return float(np.sqrt(off)) / self.size

    def own_error(self, patch: Walked) -> float:
        """The same after the patch has been moved, turned and scaled as well as can be."""
        va, vb = self.a.vertex[patch.corners], self.b.vertex[patch.others]
        moved = similarity(self.other[vb], self.mine[va])(self.other[vb])
        return float(np.sqrt(((self.mine[va] - moved) ** 2).sum(axis=1).mean())) / self.size

    def turned_error(self, patch: Walked) -> float:
        """The same after the patch has been moved but not turned."""
        off = self.mine[self.a.vertex[patch.corners]] - self.seen[self.b.vertex[patch.others]]
        return float(np.sqrt(((off - off.mean(axis=0)) ** 2).sum(axis=1).mean())) / self.size

    def nearest(self, corner: int) -> int | None:
        """The other's vertex nearest to a corner's."""
        if not self.known:
            return None
        return int(np.argmin(((self.seen - self.mine[self.a.vertex[corner]]) ** 2).sum(axis=1)))

    def nearest_of(self, corner: int, others: Ints) -> Ints:
        """The other's corners, the nearest first; as they come where nothing is known."""
        if not self.known:
            return others
        seen, v = self.seen[self.b.vertex[others]], self.a.vertex[corner]
        far = np.minimum(*(((seen - at[v]) ** 2).sum(axis=1) for at in (self.mine, self.carried)))
        return others[np.argsort(far, kind="stable")]

    def likeliest_of(self, corner: int, others: Ints, most: int) -> Ints:
        """At most `most` of the other's corners: half of them those about which the mesh is likest in form to that
        about `corner`, the rest the nearest; all of them, as they come, where they are no more.
        """
        if len(others) <= most:
            return others
        near = self.nearest_of(corner, others)
        if not self.known:
            return near[:most]
        like = near[np.argsort(self._form_error(corner, near), kind="stable")][: most // 2]
        return np.concatenate([like, near[~np.isin(near, like)][: most - len(like)]])

    def _form_error(self, corner: int, others: Ints) -> NDArray[np.float64]:
        """(m,) how unlike the mesh about each of the other's corners is to that about `corner`: the RMS difference of
        all distances between vertices on a few short paths, of the RMS distance, which no motion and no scale changes.
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
        """The `other` vertices (m,) in the order of `mine` (m,): each takes the nearest that is left."""
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
    """The middle of a bounding box and its diagonal, 1 where that is nothing."""
    low, high = (np.array([end(points[:, i]) for i in range(3)]) for end in (np.min, np.max))
    return (low + high) / 2, float(np.linalg.norm(high - low)) or 1.0
