"""A piece that is rigid in every shape, in any mix of them: how far places lie outside of its surface.

A mix of displacements that each move a piece rigidly, all by one mask, moves it affinely: a weighted sum of affine
maps is one. So the pose of the piece is one product with a pseudoinverse, and its distances are those of a grid made
once at rest, read between the nodes (trilinear) where the inverse map takes a place. Outwards is the slope
of the blurred distances, read in the same way and taken back through the map; where it is short, no side is clear.

The distance of an eyeball is the height over the outermost of its surface by direction (`ball_height`), so that a lid
rides on the cornea. That of teeth is that of `signed_grid`.
The grid lies along given axes, evenly about the piece's middle, so that it turns, grows and mirrors with the head.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.contact.ball_height import BallHeight, ball_centre
from composer.contact.signed_grid import signed_distances
from composer.geometry.vectors import lengths, unit_rows
from masks.soften import smoothstep

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
MOST_FIRM = 0.6
"""So much of a piece has to be rigid."""
ASKED = 150
"""Vertices that say how the piece lies in a pose."""
MOST_NODES = 250_000
"""Nodes of a grid; a larger piece has wider cells."""
RIGID = 0.02
"""Of a piece's size: with every shape within so much of an affine map, the piece counts as rigid."""
SMOOTH_BALL, SMOOTH_TEETH = 1.5, 2.0
"""Cells over which distances are blurred (Gauss) before their slope is taken."""
UNSURE, SURE = 0.1, 0.6
"""A blurred slope no longer than this has no side, as in the middle of a crown, where the nearest surface changes from
its front to its back; one longer by SURE counts wholly. With unblurred slopes that all count, lips jump 13 times as far
as a sweep moves without contact."""
FLAT = 1e-3
"""A map that makes a piece this many times smaller in volume has no inverse to speak of."""


class HardPiece:
    """`gaps` says how far places lie outside of a rigid piece in a pose."""

    def __init__(
        self, neutral: NDArray, vertices: NDArray, triangles: NDArray, axes: NDArray, cell_mm: float, band_mm: float,
        ball: bool = False,
    ) -> None:  # fmt: skip
        """Take the head's `neutral` (n, 3) mm, the piece's `vertices` (k,) and `triangles` (t, 3) among the head's, the
        orthonormal `axes` (3, 3), in rows, of its grid, the width of its cells, and how far out it reaches."""
        from scipy.ndimage import gaussian_filter  # takes long to import

        points = np.asarray(neutral[vertices], dtype=np.float64)
        self.ball = ball
        self.vertices = np.asarray(vertices)[:: max(1, len(points) // ASKED)]
        self.centre = ball_centre(points) if ball else 0.5 * (points.min(axis=0) + points.max(axis=0))
        asked = np.asarray(neutral[self.vertices], dtype=np.float64) - self.centre
        self._into = np.linalg.pinv(np.column_stack([asked, np.ones(len(asked))]))
        self._axes = np.asarray(axes, dtype=np.float64)
        half = np.abs((points - self.centre) @ self._axes.T).max(axis=0) + band_mm
        self._cell = max(cell_mm, float(np.cbrt(8.0 * half.prod() / MOST_NODES)))
        self._band = band_mm
        beside = np.ceil(half / self._cell).astype(np.int64)
        self._shape, self._low = 2 * beside + 1, -beside * self._cell
        steps = [np.arange(-each, each + 1) * self._cell for each in beside]
        nodes = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 3) @ self._axes
        if ball:
            values = _heights(points - self.centre, nodes, band_mm)
        else:
            about = (np.asarray(neutral, dtype=np.float64) - self.centre) @ self._axes.T
            shape = (int(self._shape[0]), int(self._shape[1]), int(self._shape[2]))
            values = signed_distances(about, triangles, self._low, self._cell, shape, band_mm).ravel()
        values, smooth = np.clip(values, None, band_mm), SMOOTH_BALL if ball else SMOOTH_TEETH
        slopes = np.gradient(gaussian_filter(values.reshape(self._shape), smooth), self._cell)
        self._values = values
        self._slopes = np.column_stack([each.ravel() for each in slopes])
        self._strides = np.array([self._shape[1] * self._shape[2], self._shape[2], 1])

    def placed(self, pose: NDArray) -> tuple[Floats, Floats]:
        """The map (3, 3) about the piece's middle at rest, and where (3,) that middle lies, in a pose (n, 3) mm."""
        found = self._into @ pose[self.vertices]
        return found[:3].T, found[3]

    def away(self, pose: NDArray, places: NDArray) -> Floats:
        """(p,) mm that `places` (p, 3) of a pose (n, 3) lie outside of the piece, less than 0 inside, at most the band.
        """
        return self._at(pose, places)[0]

    def gaps(self, pose: NDArray, places: NDArray, near_mm: float = np.inf) -> tuple[Floats, Floats, Floats]:
        """The same; outwards (p, 3), of length 1 but where the place is further off than `near_mm` or nothing is near;
        and (p,) in [0, 1] how sure that direction is."""
        found, inside, at, back = self._at(pose, places)
        out, counts = np.zeros((len(places), 3)), np.zeros(len(places))
        near = np.flatnonzero(found[inside] < near_mm)
        if len(near):
            close, slope = inside[near], self._read(self._slopes, at[near])
            out[close] = unit_rows(slope @ (self._axes @ back))
            counts[close] = smoothstep((lengths(slope) - UNSURE) / SURE)
        return found, out, counts

    def _at(self, pose: NDArray, places: NDArray) -> tuple[Floats, Ints, Floats, Floats]:
        """(p,) mm how far `places` (p, 3) lie outside of the piece, which of them (k,) lie within the grid, where they
        do in cells (k, 3), and the map (3, 3) back to rest."""
        turn, centre = self.placed(pose)
        volume = abs(float(np.linalg.det(turn)))
        found: Floats = np.full(len(places), self._band)
        if volume < FLAT:
            return found, np.zeros(0, dtype=np.int64), np.zeros((0, 3)), turn
        back: Floats = np.asarray(np.linalg.inv(turn))
        at: Floats = ((places - centre) @ (back.T @ self._axes.T) - self._low) / self._cell
        inside: Ints = np.flatnonzero(((at >= 0.0) & (at < self._shape - 1)).all(axis=1))
        at = at[inside]
        found[inside] = self._read(self._values, at) * np.cbrt(volume)
        return found, inside, at, back

    def _read(self, grid: Floats, at: NDArray) -> Floats:
        """What a `grid` (g,) or (g, 3) holds at places (p, 3) within it, counted in cells."""
        whole = at.astype(np.int64)
        x, y, z = (at - whole).T if grid.ndim == 1 else (at - whole).T[:, :, None]
        base, (over, up, along) = whole @ self._strides, self._strides
        low = (grid[base] * (1.0 - z) + grid[base + along] * z) * (1.0 - y)
        low += (grid[base + up] * (1.0 - z) + grid[base + up + along] * z) * y
        base += over
        high = (grid[base] * (1.0 - z) + grid[base + along] * z) * (1.0 - y)
        high += (grid[base + up] * (1.0 - z) + grid[base + up + along] * z) * y
        return np.asarray(low * (1.0 - x) + high * x)


def rigid_part(neutral: NDArray, deltas: Sequence[NDArray], vertices: NDArray) -> Ints | None:
    """Those of the vertices (k,) of a `neutral` (n, 3) mm that move affinely, as one body, in all `deltas` (n, 3); None
    where they are too few, or lie in a plane. What is left out changes its form, as a pupil under a cornea does."""
    kept = np.asarray(vertices, dtype=np.int64)
    for _ in range(2):
        points = np.asarray(neutral[kept], dtype=np.float64)
        points = points - points.mean(axis=0)
        size = float(np.linalg.norm(np.ptp(points, axis=0))) if len(points) else 0.0
        if len(points) < 8 or np.linalg.svd(points, compute_uv=False)[2] < 1e-3 * size * np.sqrt(len(points)):
            return None
        base = np.column_stack([points, np.full(len(points), size)])
        into = np.linalg.pinv(base)
        firm = np.ones(len(kept), dtype=bool)
        for delta in deltas:
            moved = np.asarray(delta[kept], dtype=np.float64)
            if moved.any():
                firm &= np.abs(moved - base @ (into @ moved)).max(axis=1) < RIGID * size
        kept = kept[firm]
    return kept if len(kept) >= MOST_FIRM * len(vertices) else None


def _heights(points: Floats, nodes: Floats, band_mm: float) -> Floats:
    """(g,) mm that nodes (g, 3) about a ball's centre stand over its outermost surface, from its vertices (k, 3)."""
    ball = BallHeight(points)
    far = np.linalg.norm(nodes, axis=1)
    values = far - ball.radius
    shell = (far > 0.4 * ball.radius) & (far < ball.most + 1.8 * band_mm)
    values[shell] = ball(nodes[shell])
    return values
