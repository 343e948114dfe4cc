"""What stands on the skin moves as the skin under it: hairs, lashes, sheets over the eye.

A hair stands inside a polygon, a region's share is known at its corners. A displacement under a share is a product
there, and between the corners the skin moves by the mean of the products, which is not the product of the means: across
a ramp of a few millimetres they differ by one. With f the displacement of a shape, g a row's share, and b the weights
of the corners c on which a vertex v stands,

    v moves by  sum of b_c g_c f_c  +  g_v (f_v - sum of b_c f_c)

The first is what the skin under it does, the second what v does beside that, such as a tip that turns, under its own
share. Where the share is the same at the corners, that is g_v f_v, as everywhere else. It is linear in f.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.mixing.anchors import Anchors

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Standing:
    """The `vertices` (p,) that go along with the skin, and where they stand: on `corners` (p, 3) of the skin with
    weights `bary` (p, 3), which sum to 1."""

    vertices: NDArray[np.int32]
    corners: NDArray[np.int32]
    bary: Floats

    @classmethod
    def of(cls, anchors: Anchors) -> Standing:
        """Those anchored vertices that go along with the skin."""
        on = anchors.along
        return cls(anchors.vertices[on], anchors.corners[on], anchors.bary[on])

    def __len__(self) -> int:
        return len(self.vertices)

    def masked(self, field: NDArray, share: NDArray) -> Floats:
        """(n, 3) mm, a displacement `field` (n, 3) mm under a `share` (n,) in [0, 1], the parts' values lifted."""
        product = np.multiply(field, share[:, None], dtype=np.float64)
        if len(self):
            product[self.vertices] += self.beyond(field, share)
        return product

    def beyond(self, field: NDArray, share: NDArray) -> Floats:
        """(p, 3) mm, how much further than share times field the `vertices` move: exactly 0 where the share is the same
        at the corners and the vertex, and where none of the corners moves."""
        return np.asarray(np.einsum("pc,pci->pi", self.bary * self._apart(share), field[self.corners]))

    def masked_at(self, at: NDArray, field: NDArray, share: NDArray) -> Floats:
        """(m, 3) mm, `masked` at the vertices `at` (m,), in rising order, alone."""
        product = np.multiply(np.take(field, at, axis=0), np.take(share, at)[:, None], dtype=np.float64)
        place = np.searchsorted(at, self.vertices)
        on = np.flatnonzero(at[np.minimum(place, len(at) - 1)] == self.vertices) if len(at) else place[:0]
        if len(on):
            product[place[on]] += self.beyond(field, share)[on]
        return product

    def carried(self, moved: NDArray) -> Floats:
        """(p, 3) mm, how a movement of the skin (n, 3) mm carries the `vertices` along."""
        return np.asarray(np.einsum("pc,pci->pi", self.bary, moved[self.corners]))

    def add_to(self, total: Floats, free: NDArray, further: NDArray) -> None:
        """Add `further` (f, 3) mm at vertices `free` (f,) of the skin to a movement `total` (n, 3) mm, in place, and
        what that carries along."""
        total[free] += further
        if len(self) and len(free):
            moved = np.zeros(total.shape)
            moved[free] = further
            total[self.vertices] += self.carried(moved)

    def on(self, free: NDArray) -> NDArray[np.int32]:
        """Those of the `vertices` that stand on one of the vertices `free` (f,)."""
        return self.vertices[np.isin(self.corners, free).any(axis=1)] if len(self) else self.vertices

    def rows(self, at: NDArray, share: NDArray) -> sp.csr_matrix | None:
        """(m, n) what of a field (n, 3) the vertices `at` (m,), in rising order, move beyond share times field under a
        `share` (n,); None where that is nothing."""
        apart = self._apart(share)
        place = np.minimum(np.searchsorted(at, self.vertices), max(len(at) - 1, 0))
        on = np.flatnonzero(apart.any(axis=1) & (at[place] == self.vertices)) if len(at) else np.zeros(0, np.int64)
        if not len(on):
            return None
        values = (self.bary[on] * apart[on]).ravel()
        return sp.csr_matrix((values, (np.repeat(place[on], 3), self.corners[on].ravel())), (len(at), len(share)))

    def weights(self, at: NDArray, weights: NDArray, share: NDArray) -> tuple[NDArray[np.int64], Floats]:
        """Vertices (k,) and what of a field at each of them sums to its movement under a `share` (n,) of the point with
        `weights` (c,) on the vertices `at` (c,)."""
        vertices, parts = [np.asarray(at, dtype=np.int64)], [weights * share[at]]
        apart = self._apart(share)
        for vertex, weight in zip(at, weights, strict=True):
            for row in np.flatnonzero(self.vertices == vertex):
                vertices.append(self.corners[row].astype(np.int64))
                parts.append(weight * self.bary[row] * apart[row])
        return np.concatenate(vertices), np.concatenate(parts)

    def _apart(self, share: NDArray) -> Floats:
        """(p, 3) by how much the share at the corners is above that of the vertex."""
        return np.asarray(share[self.corners] - share[self.vertices][:, None], dtype=np.float64)
