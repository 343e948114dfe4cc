"""The first triangle of a sculpt that each ray hits, with the distance in double precision."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.vectors import cross

Rows = NDArray[np.float64]


class SculptRays:
    """A ray caster over `positions` (n, 3) and `triangles` (t, 3), with Embree's tree, which is built once."""

    def __init__(self, positions: Rows, triangles: NDArray) -> None:
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene

        self._middle = positions.mean(axis=0)
        self._corners = positions[triangles]
        self._scene = EmbreeScene()
        self._mesh = TriangleMesh(
            self._scene,
            np.ascontiguousarray(positions - self._middle, dtype=np.float32),
            np.ascontiguousarray(triangles, dtype=np.int32),
        )

    def stopped(self, origins: Rows, directions: Rows) -> NDArray[np.bool_]:
        """(k,) whether rays (k, 3), (k, 3) unit meet a triangle at all."""
        answer = self._scene.run(
            np.ascontiguousarray(origins - self._middle, dtype=np.float32),
            np.ascontiguousarray(directions, dtype=np.float32),
            query="OCCLUDED",
        )
        return np.asarray(answer) >= 0

    def first(self, origins: Rows, directions: Rows, reach: float) -> tuple[NDArray[np.int64], Rows, Rows]:
        """For rays (k, 3), (k, 3) unit: the triangle hit first within `reach` (k,) or -1, the distance (k,) and the
        barycentric weights (k, 3) there.
        """
        answer = self._scene.run(
            np.ascontiguousarray(origins - self._middle, dtype=np.float32),
            np.ascontiguousarray(directions, dtype=np.float32),
            output=1,
        )
        triangle = answer["primID"].astype(np.int64)
        a, b, c = (self._corners[np.maximum(triangle, 0), i] for i in range(3))
        normal = cross(b - a, c - a)
        toward = (directions * normal).sum(1)
        steep = np.abs(toward) > 1e-12 * np.linalg.norm(normal, axis=1)
        away = np.where(steep, ((a - origins) * normal).sum(1) / np.where(steep, toward, 1.0), np.inf)
        triangle[~steep | ~(np.abs(away) <= reach)] = -1
        bary = np.stack([1.0 - answer["u"] - answer["v"], answer["u"], answer["v"]], axis=1).astype(np.float64)
        return triangle, np.where(triangle >= 0, np.maximum(away, 0.0), np.inf), bary
