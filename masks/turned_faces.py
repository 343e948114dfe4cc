"""Widening ramps until no shape, masked by one region, flips a face that the full shape does not flip.

The slope of a mask adds to the deformation by the shape: where a pucker compresses a face to half, a ramp that is safe
by itself up to twice the motion flips it. So every shape is masked by every region, and borders on which a face flips
are widened step by step. A face is flipped if its vector area (Newell) points away from that at rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from composer.geometry.surface import Floats, Surface
from composer.geometry.vectors import cross

STEP = 1.25
"""The factor by which a border with a flipped face is widened in one step. A design choice, no source."""
MOST_STEPS = 6
"""The most widenings: 1.25^6 is 3.8 times the motion's own falloff. A design choice, no source."""
BORNE = 0.6
"""No face flips if shapes move the skin across a ramp by at most this fraction of its width. The steepest slope of a
smoothstep is 1.5 over its width, so this is 0.9 of what flips a face that the shape itself does not deform.
"""
ON_BORDER = 0.02
"""A region belongs to the border at a face if its mask is above this at one of its vertices. A design choice, no
source.
"""


class FaceTurns:
    """Finds faces of the skin that flip when the shapes `deltas`, s x (n, 3) mm, are masked."""

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
        whole = _Faces(self.triangles, self.face)
        self.rest = whole.vectors(self.positions)
        self.alone = [whole.turned(self.positions + delta, self.rest) for delta in deltas]

    def cut_by(self, mask: Floats) -> Iterator[tuple[int, NDArray[np.int64]]]:
        """Each shape that, multiplied by the mask (n,), turns faces over that the whole shape does not, and the
        vertices (k,) of those faces.
        """
        changing = np.bincount(self.face, np.ptp(mask[self.triangles], axis=1) > 1e-6, len(self.rest)) > 0
        rows = changing[self.face]
        used, corners = np.unique(self.triangles[rows], return_inverse=True)
        faces = _Faces(corners.reshape(-1, 3), np.unique(self.face[rows], return_inverse=True)[1].reshape(-1))
        at, share, rest = self.positions[used], mask[used, None], self.rest[changing]
        for shape, (delta, alone) in enumerate(zip(self.deltas, self.alone, strict=True)):
            moved = delta[used]
            if moved.any():
                turned = faces.turned(at + share * moved, rest) & ~alone[changing]
                if turned.any():
                    on = turned[faces.face]
                    yield shape, used[np.unique([corner[on] for corner in faces.corners])].astype(np.int64)


class _Faces:
    """Triangles (t, 3) and the face (t,) of each, numbered from 0 without gaps."""

    def __init__(self, triangles: NDArray, face: NDArray) -> None:
        self.corners = [np.ascontiguousarray(triangles[:, k]) for k in range(3)]
        self.face = face

    def vectors(self, at: Floats) -> Floats:
        """(f, 3) twice the vector areas at the places `at`."""
        a, b, c = (np.take(at, corner, axis=0) for corner in self.corners)
        return np.stack([np.bincount(self.face, along) for along in cross(b - a, c - a).T], axis=1)

    def turned(self, at: Floats, rest: Floats) -> NDArray[np.bool_]:
        """(f,) whether each points away from its vector (f, 3) at rest."""
        return np.einsum("ij,ij->i", self.vectors(at), rest) < 0.0


def tight_borders(turns: FaceTurns, weights: Floats, half_mm: Floats) -> NDArray[np.bool_]:
    """(k, k) the borders of masks `weights` (k, n) on which a shape cut by a region turns a face, although it moves
    the skin there by no more than the border's ramp, 2 `half_mm` (k, k), is to bear.
    """
    tight = np.zeros((len(weights),) * 2, dtype=bool)
    on = weights > ON_BORDER
    for region, mask in enumerate(weights):
        for shape, vertices in turns.cut_by(mask):
            for other in np.flatnonzero(on[:, vertices].any(axis=1) & (half_mm[region] > 0)):
                border = np.asarray(turns.deltas[shape][on[region] & on[other]])
                furthest = float(np.sqrt(np.einsum("ij,ij->i", border, border).max(initial=0.0)))
                tight[region, other] |= furthest < BORNE * 2.0 * half_mm[region, other]
    return np.asarray(tight | tight.T)
