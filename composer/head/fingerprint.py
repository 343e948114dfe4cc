"""The fingerprint of a topology: a document stores it, and is refused on another topology."""

from __future__ import annotations

import hashlib

import numpy as np

from composer.geometry.polygons import Polygons


def fingerprint(polygons: Polygons) -> str:
    """SHA-256 (64 hex digits) over little-endian int64: vertex count, polygon count, then each polygon's length
    and indices in file order. Texture coordinates and positions do not count.
    """
    rows = np.empty(2 + polygons.n_faces + len(polygons.indices), dtype="<i8")
    rows[0], rows[1] = polygons.n_vertices, polygons.n_faces
    length_at = 2 + polygons.starts[:-1] + np.arange(polygons.n_faces)
    is_length = np.zeros(len(rows), dtype=bool)
    is_length[length_at] = True
    rows[length_at] = polygons.counts
    is_length[:2] = True
    rows[~is_length] = polygons.indices
    return hashlib.sha256(rows.tobytes()).hexdigest()
