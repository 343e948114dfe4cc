"""Measures of triangles and polygons: area vectors, first fundamental forms and the stretches between two poses.

With edges e1, e2 of a triangle, G = [[e1.e1, e1.e2], [e1.e2, e2.e2]] is its first fundamental form; the
squares of the principal stretches are the eigenvalues of G_rest^-1 G_pose, in closed form because they are 2
x 2. They equal the singular values of the in-plane deformation gradient, so rigid motion gives exactly (1,
1), a uniform scale s gives (s, s) (Bonet and Wood, Nonlinear Continuum Mechanics for Finite Element Analysis,
2008, ch. 4, from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.geometry.vectors import cross

Floats = NDArray[np.float64]
AT_ONCE = 8192
"""Triangles that are measured together, so that their arrays stay in the processor's cache (our choice)."""
_DEGENERATE = 1e-12
"""A triangle whose squared doubled area is below this share of the product of two squared sides has no area: the
rounding of float64 (no unit)."""


def triangle_vectors(positions: NDArray, triangles: NDArray) -> Floats:
    """(t, 3) the normal of each of `triangles` (t, 3) times twice its area, mm^2; `positions` (n, 3) mm."""
    columns = np.ascontiguousarray(np.asarray(positions, dtype=np.float64).T)
    out = np.empty((len(triangles), 3))
    for begin in range(0, len(triangles), AT_ONCE):
        a, b, c = triangles[begin : begin + AT_ONCE].T
        at = [column.take(a) for column in columns]
        x, y, z = (column.take(b) - here for column, here in zip(columns, at, strict=True))
        u, v, w = (column.take(c) - here for column, here in zip(columns, at, strict=True))
        part = out[begin : begin + AT_ONCE]
        part[:, 0], part[:, 1], part[:, 2] = y * w - z * v, z * u - x * w, x * v - y * u
    return out


def area_vectors(polygons: Polygons, positions: NDArray, faces: NDArray) -> Floats:
    """(k, 3) area vectors of polygons `faces` (k,), mm^2: half the sum of the cross products of a fan (Newell).

    For a quad this is half the cross product of its diagonals. `positions` (n, 3) mm.
    """
    counts, starts = polygons.counts[faces], polygons.starts[faces]
    out = np.empty((len(faces), 3))
    for size in np.unique(counts):
        on = np.flatnonzero(counts == size)
        corner = positions[polygons.indices[starts[on, None] + np.arange(size)]]
        if size == 4:
            out[on] = cross(corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1])
            continue
        total = np.zeros((len(on), 3))
        for i in range(1, int(size) - 1):
            total += cross(corner[:, i] - corner[:, 0], corner[:, i + 1] - corner[:, 0])
        out[on] = total
    return 0.5 * out


def metric(positions: NDArray, triangles: NDArray) -> Floats:
    """(3, t) the entries e1.e1, e1.e2, e2.e2 of each triangle's first fundamental form, mm^2."""
    a = positions[triangles[:, 0]]
    e1, e2 = positions[triangles[:, 1]] - a, positions[triangles[:, 2]] - a
    pairs = ((e1, e1), (e1, e2), (e2, e2))
    return np.stack([np.einsum("ij,ij->i", p, q) for p, q in pairs])


def stretches(rest: Floats, pose: Floats) -> Floats:
    """(t, 2) principal stretches, the larger first, from two `metric` results (3, t).

    A triangle without area at rest has no stretch: it gives (1, 1).
    """
    a0, b0, c0 = rest
    a1, b1, c1 = pose
    area0, area1 = a0 * c0 - b0 * b0, np.maximum(a1 * c1 - b1 * b1, 0.0)
    fine = area0 > _DEGENERATE * a0 * c0
    safe = np.where(fine, area0, 1.0)
    half = 0.5 * (a1 * c0 - 2.0 * b1 * b0 + c1 * a0) / safe
    product = area1 / safe
    apart = np.sqrt(np.maximum(half * half - product, 0.0))
    large = half + apart
    small = np.where(large > 0.0, product / np.where(large > 0.0, large, 1.0), 0.0)
    both = np.sqrt(np.maximum(np.stack([large, small], axis=1), 0.0))
    both[~fine] = 1.0
    return both


def principal_stretches(rest: NDArray, pose: NDArray, triangles: NDArray) -> Floats:
    """(t, 2) principal stretches of `triangles` (t, 3) from `rest` to `pose` (n, 3), the larger first; 1 without any.
    """
    return stretches(
        metric(np.asarray(rest, dtype=np.float64), triangles), metric(np.asarray(pose), triangles)
    )


def strain_size(stretch: Floats) -> Floats:
    """(t,) the larger of stretch and squash of `stretch` (t, 2): max(s1, 1/s2) - 1, so half the length counts as twice
    the length does.
    """
    longest, shortest = stretch[:, 0], np.maximum(stretch[:, 1], 1e-3)
    return np.maximum(longest, 1.0 / shortest) - 1.0
