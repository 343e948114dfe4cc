"""Many vectors as three rows, (3, k): what shades a picture works on long rows of one coordinate, in single precision.

Rows of three numbers each cost several times as much, since the processor then does three numbers at a time.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Single = NDArray[np.float32]


def dot(one: Single, other: Single) -> Single:
    """(k,) dot products of vectors (3, k); one of both may be a single vector (3, 1)."""
    return one[0] * other[0] + one[1] * other[1] + one[2] * other[2]


def cross(one: Single, other: Single) -> Single:
    """(3, k) cross products of vectors (3, k)."""
    (x, y, z), (u, v, w) = one, other
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u])


def unit(vectors: Single) -> Single:
    """Vectors (3, k) divided by their lengths; a zero vector stays zero."""
    length = np.sqrt(dot(vectors, vectors))
    length[length == 0.0] = 1.0
    return np.divide(vectors, length, dtype=np.float32)


def column(vector: NDArray) -> Single:
    """A vector (3,) as (3, 1), to be used with many."""
    return np.asarray(vector, dtype=np.float32).reshape(3, 1)


def as_planes(rows: NDArray) -> Single:
    """Vectors (k, 3) as (3, k)."""
    return np.ascontiguousarray(np.asarray(rows, dtype=np.float32).T)


def as_rows(planes: Single) -> Single:
    """Vectors (3, k) as (k, 3), for rays."""
    return np.ascontiguousarray(planes.T)
