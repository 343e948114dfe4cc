"""Where the mirror image of what stands on the skin is expected: at the mirrored place of the skin, turned as it is.

Hairs of a brow lie closer to each other than an uneven face is uneven, so that the reflection of one lies in another.
The skin under them is known by its connectivity. A vertex at the skin lies on a place of a triangle and a little off
it; its image lies on the same place of the triangle's partner, as far off in that triangle's own frame. What is further
off, as the tip of a lash, goes with the nearest vertex of its piece that is at the skin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.closest import ClosestPoints
from composer.geometry.polygons import Polygons
from composer.geometry.vectors import cross, unit_rows
from composer.head.mirror_place import REFLECTION, piece_diagonals

Floats = NDArray[np.float64]
AT_SKIN = 0.15
"""A vertex is at the skin where it is at most this fraction of its piece's diagonal further off than the piece's
nearest. A hair that lies on the skin is there with all of its vertices, one that stands with its root. Our choice.
"""


@dataclass(frozen=True, eq=False)
class OnSkin:
    """For k vertices: the expected `image` (k, 3) of each, whether it is `at_skin` (k,), and whether its piece
    `stands` (k,) on the skin, which is where any of it is nearer to it than AT_SKIN of the piece's diagonal."""

    image: Floats
    at_skin: NDArray[np.bool_]
    stands: NDArray[np.bool_]


def on_mirrored_skin(polygons: Polygons, points: NDArray, partner: NDArray, own: NDArray) -> OnSkin | None:
    """What the skin says of the vertices `own` (k,) of whole pieces beside it; None where no triangle mirrors.

    `points` (n, 3) in any unit; `partner` (n,) are the skin's, -1 for others.
    """
    triangles = polygons.triangles
    ground = triangles[(partner[triangles] >= 0).all(axis=1)]
    if not len(ground) or not len(own):
        return None
    at = ClosestPoints(points, ground)(points[own])
    away, number = np.sqrt(at.squared), np.unique(polygons.components[own], return_inverse=True)[1].reshape(-1)
    least = np.full(int(number.max()) + 1, np.inf)
    np.minimum.at(least, number, away)
    reach = AT_SKIN * piece_diagonals(number, points[own])
    near = away <= (least + reach)[number]
    source = _nearest_of_piece(number, points[own], np.flatnonzero(near))
    corners, bary = ground[at.triangle][source], at.bary[source]
    here, there = _frames(points[corners]), _frames(points[partner[corners]] * REFLECTION)
    foot, mirrored = (np.einsum("kc,kci->ki", bary, points[each]) for each in (corners, partner[corners]))
    off = np.einsum("kji,kj->ki", there, np.einsum("kij,kj->ki", here, points[own] - foot))
    return OnSkin(mirrored + off * REFLECTION, near, (least <= reach)[number])


def _nearest_of_piece(number: NDArray, points: Floats, some: NDArray) -> NDArray[np.int64]:
    """(k,) for each vertex, of piece `number` (k,) and at `points` (k, 3), the nearest of its piece among `some`."""
    apart = 4.0 * float(np.linalg.norm(np.ptp(points, axis=0)))  # a fourth coordinate keeps the pieces apart
    layered = np.column_stack([points, apart * number])
    return np.asarray(some[cKDTree(layered[some]).query(layered)[1]], dtype=np.int64)


def _frames(corners: Floats) -> Floats:
    """(k, 3, 3) a frame of each triangle (k, 3, 3): along its first side, across it, and out of it, in rows."""
    along = unit_rows(corners[:, 1] - corners[:, 0])
    out = unit_rows(cross(along, corners[:, 2] - corners[:, 0]))
    return np.stack([along, cross(out, along), out], axis=1)
