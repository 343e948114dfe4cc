"""Normals of a moved mesh, one for every normal that corners share in its file."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int32]


def corner_normals(
    counts: Ints, vertices: Ints, normals: Ints, positions: NDArray, moved: NDArray[np.bool_], n_normals: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Unit normals (n_normals, 3), and which of them belong to a polygon with a moved vertex.

    `counts` (f,) and per corner (k,) `vertices` and `normals` (-1 for none) are the polygons; a normal is the
    mean of the area vectors of the polygons whose corners share it (Newell's area vector, half the sum of the
    cross products around the polygon). Zero where no polygon uses it or its polygons have no area.
    """
    starts = np.zeros(len(counts) + 1, dtype=np.int64)
    np.cumsum(counts, out=starts[1:])
    following = np.arange(1, len(vertices) + 1)
    following[starts[1:] - 1] = starts[:-1]
    points = np.asarray(positions, dtype=np.float64)[vertices]
    points -= np.repeat(points[starts[:-1]], counts, axis=0)
    area = np.add.reduceat(np.cross(points, points[following]), starts[:-1], axis=0)
    face_moved = np.logical_or.reduceat(moved[vertices], starts[:-1])
    face = np.repeat(np.arange(len(counts)), counts)
    has = normals >= 0
    which, face = normals[has], face[has]
    unit_normals: NDArray[np.float64] = np.stack(
        [np.bincount(which, area[face, axis], n_normals).astype(np.float64) for axis in range(3)], axis=1
    )
    length = np.linalg.norm(unit_normals, axis=1)
    unit_normals /= np.where(length > 0, length, 1.0)[:, None]
    renewed = np.bincount(which, face_moved[face], n_normals) > 0
    return unit_normals, renewed
