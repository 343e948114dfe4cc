"""Triangles of a patch that cross in a pose and are to be parted: what each corner that lies behind the other triangle
lacks to stand before it again.

Only triangles that face each other count, as the two lips or lids do: of two that look the same way, as in a fold, no
one can say which is to give way. What crosses is what `geometry.self_crossing` finds.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.contact.across import Across
from composer.contact.solve import LineRows
from composer.geometry.vectors import cross, unit_rows

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
FACING = -0.2
"""Cosine between the normals of two triangles: those below face each other."""


def parting_rows(
    positions: NDArray, triangles: NDArray, pairs: Ints, pushed: NDArray[np.bool_], most_mm: float
) -> LineRows:  # fmt: skip
    """What the corners of the crossing `pairs` (p, 2) of triangles lack along the other triangle's normal, at most
    `most_mm` at once and a tenth of that more than nothing; only vertices that can be `pushed` (m,) have rows, on both
    sides of them."""
    one, other = np.concatenate([pairs[:, 0], pairs[:, 1]]), np.concatenate([pairs[:, 1], pairs[:, 0]])
    corners = positions[triangles]
    normal = unit_rows(cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))
    facing = np.einsum("pi,pi->p", normal[one], normal[other]) < FACING
    able = pushed[triangles].all(axis=1)
    keep = facing & able[one] & able[other]
    one, other = one[keep], other[keep]
    out = normal[other]
    middle = corners[other].mean(axis=1)
    height = np.einsum("pki,pi->pk", corners[one] - middle[:, None], out)
    few = (height < 0.0).sum(axis=1) == 1  # the one corner that is through, or the less deep side of two
    low, high = -height.min(axis=1, initial=0.0), height.max(axis=1, initial=0.0)
    pair, corner = np.nonzero((height < 0.0) & (few | (low <= high))[:, None])
    vertices = triangles[one[pair], corner].astype(np.int64)
    place = triangles[other[pair]].astype(np.int64)
    lack = np.minimum(-height[pair, corner], most_mm) + 0.1 * most_mm
    thirds = np.full((len(pair), 3), 1.0 / 3.0)
    return LineRows(vertices, Across(vertices, place, thirds), out[pair], lack, np.ones(len(pair)))
