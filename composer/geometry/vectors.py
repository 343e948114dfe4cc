"""Products, lengths and directions of many vectors at once, row by row."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

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


def unit_rows(vectors: NDArray) -> Floats:
    """(k, 3) each of vectors (k, 3) divided by its length; vectors of no length stay zero."""
    size = lengths(vectors)[:, None]
    return np.divide(vectors, size, out=np.zeros(vectors.shape), where=size > 0)


def cosine(one: NDArray, other: NDArray) -> Floats:
    """(k,) cosine between vectors (k, 3); 1 (no turn) where either has no length."""
    size = np.sqrt(dot(one, one) * dot(other, other))
    return np.where(size > 1e-18, dot(one, other) / np.where(size > 1e-18, size, 1.0), 1.0)
