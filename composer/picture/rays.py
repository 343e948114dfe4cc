"""Rays on triangles: first hits, shadows, and the openness of each vertex to the sky."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.picture.camera import Camera

Floats = NDArray[np.float64]
_CHUNK = 65536


@dataclass(frozen=True, eq=False)
class Hits:
    """First hits of k rays: `triangle` (k,) or -1, barycentric `u`, `v` (k,) and distance in mm (k,)."""

    triangle: NDArray[np.int32]
    u: NDArray[np.float32]
    v: NDArray[np.float32]
    distance: NDArray[np.float32]

    def at(self, some: NDArray) -> Hits:
        """The hits of some of the rays."""
        return Hits(self.triangle[some], self.u[some], self.v[some], self.distance[some])


class Rays:
    """A ray caster over `positions` (n, 3) mm and `triangles` (t, 3)."""

    def __init__(self, positions: NDArray, triangles: NDArray) -> None:
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene

        self._scene = EmbreeScene()
        vertices = np.ascontiguousarray(positions, dtype=np.float32)
        self._mesh = TriangleMesh(self._scene, vertices, np.ascontiguousarray(triangles, dtype=np.int32))
        self._commit()

    def _commit(self) -> None:
        """One ray, so that the tree is built before threads share it."""
        self.blocked(np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]]))

    def first(self, origins: NDArray, directions: NDArray, reach: float | None = None) -> Hits:
        """First hit of each ray: `origins`, `directions` (k, 3), within `reach` lengths of the direction where given.
        """

        def ask(o: NDArray, d: NDArray) -> dict[str, NDArray]:
            return self._scene.run(o, d, dists=_all(o, reach), output=1)  # type: ignore[no-any-return]

        answers = self._spread(origins, directions, ask)
        joined = {key: np.concatenate([a[key] for a in answers]) for key in ("primID", "u", "v", "tfar")}
        return Hits(joined["primID"], joined["u"], joined["v"], joined["tfar"])

    def through(self, camera: Camera) -> Hits:
        """First hits of the rays through the middles of a camera's pixels, row after row."""
        rows, columns = np.mgrid[: camera.height, : camera.width]
        sight = camera.directions(columns.ravel() + 0.5, rows.ravel() + 0.5)
        return self.first(np.broadcast_to(camera.eye, sight.shape), sight)

    def blocked(
        self, origins: NDArray, directions: NDArray, reach_mm: float | None = None
    ) -> NDArray[np.bool_]:
        """(k,) whether something lies along each ray (k, 3), within `reach_mm` where given."""

        def ask(o: NDArray, d: NDArray) -> NDArray:
            return self._scene.run(o, d, dists=_all(o, reach_mm), query="OCCLUDED")  # type: ignore[no-any-return]

        return np.concatenate(self._spread(origins, directions, ask)) >= 0

    @staticmethod
    def _spread(origins: NDArray, directions: NDArray, ask) -> list:  # type: ignore[no-untyped-def]
        o = np.ascontiguousarray(origins, dtype=np.float32).reshape(-1, 3)
        d = np.ascontiguousarray(directions, dtype=np.float32).reshape(-1, 3)
        pieces = [slice(i, i + _CHUNK) for i in range(0, max(len(o), 1), _CHUNK)]
        if len(pieces) == 1:
            return [ask(o, d)]
        with ThreadPoolExecutor(2) as pool:  # Embree holds no lock; threads that stayed would forbid a fork
            return list(pool.map(lambda piece: ask(o[piece], d[piece]), pieces))


def _all(origins: NDArray, reach: float | None) -> NDArray[np.float32] | None:
    """(k,) the same reach for all rays, or None where there is no end."""
    return None if reach is None else np.full(len(origins), reach, dtype=np.float32)


def sphere_points(count: int) -> Floats:
    """(count, 3) points spread evenly over the unit sphere: a golden-angle spiral, the same every time."""
    i = np.arange(count)
    z = 1.0 - (2.0 * i + 1.0) / count
    turn = i * np.pi * (3.0 - np.sqrt(5.0))
    flat = np.sqrt(1.0 - z * z)
    return np.stack([flat * np.cos(turn), flat * np.sin(turn), z], axis=1)


def openness(
    rays: Rays, positions: Floats, normals: Floats, chosen: NDArray, reach_mm: float, samples: int = 40,
    sharing: int = 1,
) -> Floats:  # fmt: skip
    """(len(chosen),) in [0, 1]: the free share of the hemisphere above each chosen vertex, cosine-weighted.

    Ambient occlusion with a limited reach (Zhukov, Iones and Kronin 1998): directions normal + a point of the
    unit sphere are cosine-distributed about the normal. `positions`, `normals` (n, 3). Of the `samples` directions each
    vertex looks along every `sharing`-th, its neighbours along others: meant to be averaged with theirs (Keller and
    Heidrich 2001, "Interleaved sampling").
    """
    points = sphere_points(samples).astype(np.float32)
    free = np.zeros(len(chosen))
    for k in range(sharing):
        mine = chosen % sharing == k
        of = chosen[mine]
        along = normals[of].astype(np.float32)
        start = (positions[of] + normals[of] * (reach_mm * 0.004)).astype(np.float32)
        seen = np.zeros(len(of))
        for point in points[k::sharing]:
            toward = along + np.float32(0.995) * point
            toward /= np.sqrt(np.einsum("ij,ij->i", toward, toward))[:, None]
            seen += ~rays.blocked(start, toward, reach_mm)
        free[mine] = seen / len(points[k::sharing])
    return free
