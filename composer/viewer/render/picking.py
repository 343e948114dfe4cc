"""What lies under the pointer: the first polygon that a ray meets, and where on it.

Two ways that agree. `pick` tests every triangle of the pose as it is (Moeller and Trumbore, Fast, minimum storage
ray-triangle intersection, 1997), on a large head those to which its coarser level leads, and needs nothing made ready;
`freeze` builds a tree over a pose that will stand still for a while, such as during a stroke, and answers forty times
as fast.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.head.coarse import known_coarse
from composer.head.head import Head
from composer.picture.rays import Rays
from composer.viewer.render.rough_triangles import RoughTriangles

Floats = NDArray[np.float64]
SKIN = "skin"
Corners = tuple[NDArray, ...]
_EDGE = 1e-9  # how far beyond a triangle's edge still counts, so that no ray slips between two


@dataclass(frozen=True, eq=False)
class Hit:
    """Where a ray met the head: the polygon, its corners (c,) with the weights `bary` (c,) that sum to 1, the point
    (3,) mm, the unit normal (3,) of the triangle, the part's name ("skin" where it is none) and the way in mm.
    """

    polygon: int
    corners: NDArray[np.int64]
    bary: Floats
    point: Floats
    normal: Floats
    part: str
    distance: float


class Picker:
    """Finds what rays meet on one head."""

    def __init__(self, head: Head) -> None:
        self.head = head
        polygons = head.polygons
        self._a, self._b, self._c = (np.ascontiguousarray(polygons.triangles[:, i]) for i in range(3))
        self._names = [SKIN, *(part.name for part in head.parts)]
        owner = np.zeros(head.n_vertices, dtype=np.int64)
        for i, part in enumerate(head.parts):
            owner[part.vertices] = i + 1
        self._owner = owner[self._a]
        level = known_coarse(head.surface)
        self._rough: RoughTriangles | None = None
        if level is not None:
            self._rough = RoughTriangles(polygons, level)
            self._rough_owner = owner[self._rough.vertices[self._rough.corners[0]]]

    @property
    def is_rough(self) -> bool:
        """Whether it looks by way of a coarser level."""
        return self._rough is not None

    def pick(
        self, positions: NDArray, origin: ArrayLike, direction: ArrayLike, hidden: frozenset[str] = frozenset()
    ) -> Hit | None:
        """The first triangle of the pose (n, 3) mm that the ray from `origin` (3,) along `direction` (3,) meets, from
        either side, parts of the names `hidden` left out; None where it meets none.
        """
        start, sight = _ray(origin, direction)
        rough = None
        if self._rough is not None:
            places = positions[self._rough.vertices]
            near = _near(places, start, sight, self._rough.corners)
            near = near[~self._hidden(hidden, self._rough_owner[near])]
            rough = _first(places, near, self._rough.corners, start, sight)
        return self._by_way_of(None if rough is None else rough[0], positions, start, sight, hidden)

    def _by_way_of(
        self, rough: int | None, positions: NDArray, start: Floats, sight: Floats, hidden: frozenset[str]
    ) -> Hit | None:
        """What a ray meets, known to meet a triangle of the coarser level first; None for none that is known."""
        corners, found = (self._a, self._b, self._c), None
        if rough is not None and self._rough is not None:
            near = self._rough.about(rough)
            near = near[~self._hidden(hidden, self._owner[near])]
            found = _first(positions, near, corners, start, sight)
        if found is None:
            near = _near(positions, start, sight, corners)
            near = near[~self._hidden(hidden, self._owner[near])]
            found = _first(positions, near, corners, start, sight)
        return None if found is None else self._hit(positions, *found)

    def freeze(self, positions: NDArray, hidden: frozenset[str] = frozenset()) -> Frozen:
        """A picker of this pose (n, 3) mm as it is now, whatever becomes of the array; parts `hidden` are left out."""
        return Frozen(self, np.array(positions, dtype=np.float32), hidden)

    def _hidden(self, hidden: frozenset[str], owner: NDArray) -> NDArray[np.bool_]:
        return np.isin(owner, [i for i, name in enumerate(self._names) if name in hidden])

    def _hit(self, positions: NDArray, triangle: int, u: float, v: float, distance: float) -> Hit:
        """The hit at weights 1 - u - v, u, v of a triangle's corners, told of its polygon."""
        polygons = self.head.polygons
        weight = np.clip(np.array([1.0 - u - v, u, v]), 0.0, 1.0)
        weight /= weight.sum()
        face = int(polygons.triangle_face[triangle])
        bary = np.zeros(int(polygons.counts[face]))
        bary[polygons.triangle_corners[triangle] - polygons.starts[face]] = weight
        corners = positions[polygons.triangles[triangle]].astype(np.float64)
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        normal /= max(float(np.linalg.norm(normal)), 1e-30)
        name = self._names[int(self._owner[triangle])]
        return Hit(face, polygons.face(face).astype(np.int64), bary, weight @ corners, normal, name, distance)


class Frozen:
    """A picker of one pose that stands still; see `Picker.freeze`. A tree over a large head takes longer than a stroke
    waits: there it stands over the coarser level, which leads to the place."""

    def __init__(self, picker: Picker, positions: NDArray[np.float32], hidden: frozenset[str]) -> None:
        self._picker, self._positions, self._hidden = picker, positions, hidden
        self._rays: Rays | None = None
        rough = picker._rough
        owner = picker._owner if rough is None else picker._rough_owner
        self._kept = np.flatnonzero(~picker._hidden(hidden, owner))
        if len(self._kept) and rough is None:
            self._rays = Rays(positions, picker.head.polygons.triangles[self._kept])
        elif len(self._kept) and rough is not None:
            corners = np.stack(rough.corners, axis=1)[self._kept]
            self._rays = Rays(positions[rough.vertices], corners)

    def is_of(self, picker: Picker, positions: NDArray) -> bool:
        """Whether it is what `picker` would freeze of a pose (n, 3) mm with nothing hidden."""
        return self._picker is picker and not self._hidden and np.array_equal(self._positions, positions)

    def pick(self, origin: ArrayLike, direction: ArrayLike) -> Hit | None:
        """As `Picker.pick`, of the pose that was frozen."""
        start, sight = _ray(origin, direction)
        if self._rays is None:
            return None
        found = self._rays.first(start[None], sight[None])
        if self._picker.is_rough:
            rough = int(self._kept[found.triangle[0]]) if found.triangle[0] >= 0 else None
            return self._picker._by_way_of(rough, self._positions, start, sight, self._hidden)
        if found.triangle[0] < 0:
            return None
        triangle, u, v = int(self._kept[found.triangle[0]]), float(found.u[0]), float(found.v[0])
        return self._picker._hit(self._positions, triangle, u, v, float(found.distance[0]))


def _ray(origin: ArrayLike, direction: ArrayLike) -> tuple[Floats, Floats]:
    start, sight = np.asarray(origin, dtype=np.float64), np.asarray(direction, dtype=np.float64)
    return start, sight / max(float(np.linalg.norm(sight)), 1e-30)


def _near(positions: NDArray, start: Floats, sight: Floats, corners: Corners) -> NDArray[np.int64]:
    """Triangles of these `corners` that the ray can meet: seen along it, these are not all on one side of it.

    Every vertex is projected once, across the ray; of a triangle whose box holds the ray's point all else follows.
    """
    side = np.eye(3)[int(np.argmin(np.abs(sight)))]
    x = np.cross(sight, side)
    x /= np.linalg.norm(x)
    y = np.cross(sight, x)
    across = (np.asarray(positions, dtype=np.float64) - start) @ np.stack([x, y], axis=1)
    slack = 1e-6 * (1.0 + float(np.abs(across).max(initial=0.0)))
    code = (across[:, 0] > slack) * 1 + (across[:, 0] < -slack) * 2
    code = (code + (across[:, 1] > slack) * 4 + (across[:, 1] < -slack) * 8).astype(np.uint8)
    a, b, c = corners
    return np.flatnonzero((code[a] & code[b] & code[c]) == 0)


def _first(
    positions: NDArray, near: NDArray, corners: Corners, start: Floats, sight: Floats
) -> tuple[int, float, float, float] | None:
    """Of the triangles `near` of these `corners` the first that a ray meets, the weights of its second and third corner
    there, and the way in mm; None where it meets none."""
    if not len(near):
        return None
    a, b, c = (positions[corner[near]].astype(np.float64) for corner in corners)
    one, two = b - a, c - a
    p = np.cross(sight, two)
    volume = np.einsum("ij,ij->i", one, p)
    flat = np.abs(volume) < 1e-12
    scale = 1.0 / np.where(flat, 1.0, volume)
    away = start - a
    u = np.einsum("ij,ij->i", away, p) * scale
    q = np.cross(away, one)
    v = (q @ sight) * scale
    far = np.einsum("ij,ij->i", q, two) * scale
    met = ~flat & (u >= -_EDGE) & (v >= -_EDGE) & (u + v <= 1.0 + _EDGE) & (far > 0.0)
    if not met.any():
        return None
    best = int(np.argmin(np.where(met, far, np.inf)))
    return int(near[best]), float(u[best]), float(v[best]), float(far[best])
