"""From which sides each place of a head at rest sees the sky: shadows that turn with the light and cost no ray.

At every vertex the directions in which nothing stands in the way are kept as sixteen numbers, the real spherical
harmonics up to degree 3 (Sloan, Kautz and Snyder, Precomputed radiance transfer, 2002). The window's part that is
seen is then one product of sixteen numbers, at any turn of the head. Directions below the surface count as free,
because the surface's own turning away from the light is known exactly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.picture.figure import Figure
from composer.picture.rays import sphere_points

Floats = NDArray[np.float64]
TERMS = 16
_FADE = np.repeat([1.0, 0.97, 0.88, 0.75], [1, 3, 5, 7])  # of each degree, against ringing
_CHUNK = 4096


def harmonics(directions: Floats) -> Floats:
    """(k, 16) the real spherical harmonics of unit directions (k, 3), degree by degree."""
    x, y, z = np.asarray(directions, dtype=np.float64).T
    one = np.ones_like(x)
    return np.stack([
        0.2820947918 * one,
        0.4886025119 * y, 0.4886025119 * z, 0.4886025119 * x,
        1.0925484306 * x * y, 1.0925484306 * y * z, 0.3153915653 * (3.0 * z * z - 1.0), 1.0925484306 * x * z,
        0.5462742153 * (x * x - y * y),
        0.5900435899 * y * (3.0 * x * x - y * y), 2.8906114426 * x * y * z, 0.4570457995 * y * (5.0 * z * z - 1.0),
        0.3731763326 * z * (5.0 * z * z - 3.0), 0.4570457995 * x * (5.0 * z * z - 1.0),
        1.4453057213 * z * (x * x - y * y), 0.5900435899 * x * (x * x - 3.0 * y * y),
    ], axis=1)  # fmt: skip


def daylight(figure: Figure, directions: int = 192) -> NDArray[np.float32]:
    """(n, 16) for `View3D.shade`: from where each vertex of a figure at its own level sees out, at rest.

    `directions` rays are cast about each vertex; some tenths of a second for a cage, so not within the frame loop.
    """
    around = sphere_points(directions)
    basis = harmonics(around) * (4.0 * np.pi / directions)
    rest = figure.rest
    start = rest.positions + 0.4 * rest.normals
    out = np.empty((len(start), TERMS))
    for first in range(0, len(start), _CHUNK):
        piece = slice(first, min(first + _CHUNK, len(start)))
        up = rest.normals[piece] @ around.T > 0.0
        vertex, ray = np.nonzero(up)
        blocked = np.zeros(up.shape)
        blocked[vertex, ray] = rest.rays.blocked(start[piece][vertex], around[ray])
        out[piece] = -blocked @ basis
    out *= _FADE
    out[:, 0] += np.sqrt(4.0 * np.pi)
    adjacency, valence = figure.polygons.adjacency, np.maximum(figure.polygons.valence, 1)[:, None]
    out = 0.5 * out + 0.5 * (adjacency @ out) / valence
    return out.astype(np.float32)
