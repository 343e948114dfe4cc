"""Ramps widened until no shape, cut out by one region, turns a face over that the whole shape leaves as it was.

A mask's slope adds to what a shape does itself: where a pucker draws a face together to half, a ramp that alone would
bear twice the motion turns it over. So every shape is cut by every region, and the borders on which a face turns are
made wider, step by step. A face is turned where its vector area (Newell) points away from that at rest.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.geometry.surface import Floats, Surface
from composer.geometry.vectors import cross

STEP = 1.25
"""A border on which a face turns becomes this much wider at a time."""
MOST_STEPS = 6
"""Widenings at most: 1.25^6 is 3.8 times the motion's own falloff."""
ON_BORDER = 0.02
"""A mask that is more than this somewhere on a face has part in the border there."""


class FaceTurns:
    """Which faces of the skin turn over where the shapes `deltas`, s x (n, 3) mm, are cut by a mask."""

    def __init__(self, surface: Surface, on_skin: NDArray[np.bool_], deltas: Sequence[NDArray]) -> None:
        polygons = surface.polygons
        skin_face = np.logical_and.reduceat(on_skin[polygons.indices], polygons.starts[:-1])
        moved = np.zeros(surface.n_vertices, dtype=bool)
        for delta in deltas:
            moved |= np.asarray(delta).any(axis=1)
        skin_face &= np.logical_or.reduceat(moved[polygons.indices], polygons.starts[:-1])
        keep = skin_face[polygons.triangle_face]
        self.triangles = surface.triangles[keep]
        self.face = np.unique(polygons.triangle_face[keep], return_inverse=True)[1].reshape(-1)
        self.positions, self.deltas = surface.positions, deltas
        self.count = int(self.face.max(initial=-1)) + 1
        self.rest = self._vectors(self.positions, slice(None))
        self.alone = [self._turned(self.positions + delta, slice(None)) for delta in deltas]

    def cut_by(self, mask: Floats) -> NDArray[np.bool_]:
        """(f,) the faces that some shape, multiplied by the mask (n,), turns over and the whole shape does not."""
        corners = mask[self.triangles]
        changing = np.bincount(self.face, np.ptp(corners, axis=1) > 1e-6, self.count) > 0
        rows = changing[self.face]
        used = np.unique(self.triangles[rows])
        turned = np.zeros(self.count, dtype=bool)
        pose = self.positions.copy()
        for delta, alone in zip(self.deltas, self.alone, strict=True):
            moved = delta[used]
            if moved.any():
                pose[used] = self.positions[used] + mask[used, None] * moved
                turned |= self._turned(pose, rows) & changing & ~alone
        return turned

    def vertices_of(self, faces: NDArray[np.bool_]) -> NDArray[np.int64]:
        """(k,) the vertices of some faces (f,)."""
        return np.unique(self.triangles[faces[self.face]]).astype(np.int64)

    def _turned(self, pose: Floats, rows: slice | NDArray[np.bool_]) -> NDArray[np.bool_]:
        return np.einsum("ij,ij->i", self._vectors(pose, rows), self.rest) < 0.0

    def _vectors(self, at: Floats, rows: slice | NDArray[np.bool_]) -> Floats:
        """(f, 3) twice the vector areas, from the triangles of `rows`; 0 for faces without one."""
        a, b, c = (at[self.triangles[rows, k]] for k in range(3))
        return np.stack([np.bincount(self.face[rows], along, self.count) for along in cross(b - a, c - a).T], axis=1)


def tight_borders(turns: FaceTurns, weights: Floats, regions: Sequence[int]) -> NDArray[np.bool_]:
    """(k, k) the borders on which a shape cut by one of the `regions` turns a face, of masks `weights` (k, n)."""
    tight = np.zeros((len(weights),) * 2, dtype=bool)
    for region in regions:
        turned = turns.cut_by(weights[region])
        if turned.any():
            beside = (weights[:, turns.vertices_of(turned)] > ON_BORDER).any(axis=1)
            beside[region] = False
            tight[region] |= beside if beside.any() else np.arange(len(weights)) != region
    return tight | tight.T
