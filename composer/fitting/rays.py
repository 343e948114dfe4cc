"""The first triangle of a sculpt that each ray hits, with the distance in double precision."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.vectors import cross, dot, lengths

Rows = NDArray[np.float64]

_FURTHER, _ROUNDING = 1.001, 1e-5
"""How much further a ray is followed, of its reach and of the sculpt's extent, since Embree's places are in single
precision: what is too far is left out afterwards, exactly."""


class SculptRays:
    """A ray caster over `positions` (n, 3) and `triangles` (t, 3), with Embree's tree, which is built once."""

    def __init__(self, positions: Rows, triangles: NDArray) -> None:
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene

        self._middle = positions.mean(axis=0)
        self._corners = positions[triangles]
        self._rounding = _ROUNDING * float(np.linalg.norm(np.ptp(positions, axis=0)))
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

    def first(
        self, origins: Rows, directions: Rows, reach: float | Rows
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], Rows, Rows]:
        """For rays (k, 3), (k, 3) unit, the first triangle within `reach`, one number or (k,) mm: which rays (m,) meet
        one, rising, which (m,), the distance (m,) and the barycentric weights (m, 3) there.
        """
        most = np.broadcast_to(np.asarray(reach, dtype=np.float64), len(origins))
        answer = self._scene.run(
            np.ascontiguousarray(origins - self._middle, dtype=np.float32),
            np.ascontiguousarray(directions, dtype=np.float32),
            dists=(most * _FURTHER + self._rounding).astype(np.float32),
            output=1,
        )
        met = np.flatnonzero(answer["primID"] >= 0)
        triangle = answer["primID"][met].astype(np.int64)
        a, b, c = (self._corners[triangle, i] for i in range(3))
        normal = cross(b - a, c - a)
        toward = dot(directions[met], normal)
        steep = np.abs(toward) > 1e-12 * lengths(normal)
        away = dot(a - origins[met], normal) / np.where(steep, toward, np.inf)
        near = np.flatnonzero(steep & (np.abs(away) <= most[met]))
        u, v = (answer[name][met[near]].astype(np.float64) for name in ("u", "v"))
        return met[near], triangle[near], np.maximum(away[near], 0.0), np.stack([1.0 - u - v, u, v], axis=1)
