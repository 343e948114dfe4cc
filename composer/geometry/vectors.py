"""Small sums over many vectors: products, and the area vectors of polygons."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons

Floats = NDArray[np.float64]


def cross(one: NDArray, other: NDArray) -> Floats:
    """(k, 3) cross products of vectors (k, 3), row by row."""
    x, y, z = one[:, 0], one[:, 1], one[:, 2]
    u, v, w = other[:, 0], other[:, 1], other[:, 2]
    out = np.empty((len(one), 3))
    out[:, 0] = y * w - z * v
    out[:, 1] = z * u - x * w
    out[:, 2] = x * v - y * u
    return out


def dot(one: NDArray, other: NDArray) -> Floats:
    """(k,) dot products of vectors (k, 3), row by row."""
    return np.einsum("ij,ij->i", one, other)


def lengths(vectors: NDArray) -> Floats:
    """(k,) lengths of vectors (k, 3)."""
    return np.sqrt(np.einsum("ij,ij->i", vectors, vectors))


def cosine(one: NDArray, other: NDArray) -> Floats:
    """(k,) cosine between vectors (k, 3); 1 where either has no length, which is no turn."""
    size = np.sqrt(dot(one, one) * dot(other, other))
    return np.where(size > 1e-18, dot(one, other) / np.where(size > 1e-18, size, 1.0), 1.0)


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
