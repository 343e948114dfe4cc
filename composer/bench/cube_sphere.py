"""The bench's surface where the demo head is too small: a closed cube-sphere of quads with seeded smooth noise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons


def cube_sphere(side: int, radius_mm: float = 110.0, seed: int = 0) -> tuple[Polygons, NDArray[np.float64]]:
    """A cube with `side` x `side` quads a face, projected to a sphere: 6 side^2 + 2 vertices, positions (n, 3) in mm.

    The noise is six plane waves of seeded direction, 4 percent of the radius together. The same seed gives the
    same surface.
    """
    step = np.arange(side + 1)
    u, v = np.meshgrid(step, step, indexing="ij")
    corners = []
    for axis in range(3):
        for end in (0, side):
            face = np.empty((side + 1, side + 1, 3), dtype=np.int64)
            face[..., axis] = end
            face[..., (axis + 1) % 3], face[..., (axis + 2) % 3] = (u, v) if end else (v, u)
            at = face @ np.array([1, side + 1, (side + 1) ** 2])
            corners.append(np.stack([at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]], axis=-1).reshape(-1, 4))
    lattice, quads = np.unique(np.concatenate(corners), return_inverse=True)
    place = np.stack([lattice % (side + 1), lattice // (side + 1) % (side + 1), lattice // (side + 1) ** 2], axis=1)
    ball = np.tan((2.0 * place / side - 1.0) * (np.pi / 4))
    ball /= np.linalg.norm(ball, axis=1, keepdims=True)
    rng = np.random.default_rng(seed)
    waves = np.zeros(len(ball))
    for _ in range(6):
        waves += np.sin(ball @ (4.0 * rng.normal(size=3)) + rng.uniform(0, 6.28))
    flat = quads.reshape(-1)
    polygons = Polygons(np.full(len(flat) // 4, 4), flat, len(lattice))
    return polygons, ball * (radius_mm * (1.0 + 0.04 / 6 * waves))[:, None]
