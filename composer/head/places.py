"""Named points and curves of a face, with anthropometric names, and their places on a mesh.

A place is one of three things:

- an `int`: a vertex of the mesh, counted from 0;
- a `SurfacePoint`: three vertices of a polygon and their barycentric weights, which sum to one;
- an `(x, y, z)` tuple: a position in millimetres.

A curve is an ordered list of places; where all of them are vertices it is an int32 array (k,).
The file form is in `composer.head.landmark_file`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from os import PathLike

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, unknown


@dataclass(frozen=True)
class SurfacePoint:
    """A point inside a triangle of vertices (3,), at barycentric weights (3,) that sum to one."""

    triangle: tuple[int, int, int]
    bary: tuple[float, float, float]


Position = tuple[float, float, float]
Place = int | SurfacePoint | Position
Curve = NDArray[np.int32] | tuple[Place, ...]


def resolve(place: Place, positions: NDArray) -> NDArray[np.float64]:
    """(3,) mm, the position of a place on a mesh of `positions` (n, 3) mm."""
    if isinstance(place, SurfacePoint):
        return (
            np.asarray(place.bary, dtype=np.float64)
            @ np.asarray(positions, dtype=np.float64)[list(place.triangle)]
        )
    if isinstance(place, tuple):
        return np.array(place, dtype=np.float64)
    return np.array(positions[int(place)], dtype=np.float64)


def _vertices_of(place: Place) -> tuple[int, ...]:
    if isinstance(place, SurfacePoint):
        return place.triangle
    return () if isinstance(place, tuple) else (int(place),)


def as_curve(places: Sequence[Place] | NDArray) -> Curve:
    """Places in order; a read-only int32 array (k,) if all of them are vertices."""
    if isinstance(places, np.ndarray) or all(isinstance(place, (int, np.integer)) for place in places):
        line = np.array(places, dtype=np.int32).reshape(-1)
        line.setflags(write=False)
        return line
    return tuple(places)


@dataclass(frozen=True, eq=False)
class Landmarks:
    """Points and curves by name, on one mesh. Curves may be given as lists of places. `pinned` names points that a fit
    holds exactly where they lie; the others pull."""

    points: Mapping[str, Place] = field(default_factory=dict)
    curves: Mapping[str, Curve] = field(default_factory=dict)
    pinned: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        points = {name: place if isinstance(place, (SurfacePoint, tuple)) else int(place)
                  for name, place in self.points.items()}  # fmt: skip
        object.__setattr__(self, "points", points)
        object.__setattr__(self, "curves", {name: as_curve(curve) for name, curve in self.curves.items()})

    def __bool__(self) -> bool:
        return bool(self.points or self.curves)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Landmarks):
            return NotImplemented
        if (self.points, self.pinned) != (other.points, other.pinned):
            return False
        return {k: list(v) for k, v in self.curves.items()} == {
            k: list(v) for k, v in other.curves.items()
        }

    __hash__ = None  # type: ignore[assignment]

    def point(self, name: str) -> Place:
        """The place of a point. Raises MoueError with the nearest names where there is none."""
        if name not in self.points:
            raise unknown("landmark", name, self.points)
        return self.points[name]

    def curve(self, name: str) -> Curve:
        """The places of a curve, in order. Raises MoueError with the nearest names where there is none."""
        if name not in self.curves:
            raise unknown("landmark curve", name, self.curves)
        return self.curves[name]

    def position(self, name: str, positions: NDArray) -> NDArray[np.float64]:
        """(3,) mm, the point `name` on a mesh of `positions` (n, 3) mm. Raises MoueError for an unknown name."""
        return resolve(self.point(name), positions)

    def curve_positions(self, name: str, positions: NDArray) -> NDArray[np.float64]:
        """(k, 3) mm, the curve `name` on a mesh of `positions` (n, 3) mm. Raises MoueError for an unknown name."""
        curve = self.curve(name)
        if isinstance(curve, np.ndarray):
            return np.asarray(positions, dtype=np.float64)[curve]
        return np.array([resolve(place, positions) for place in curve]).reshape(-1, 3)

    def vertex(self, name: str, positions: NDArray) -> int:
        """The vertex of a point, or the one of `positions` (n, 3) mm nearest to it. Raises MoueError as `point`."""
        place = self.point(name)
        if isinstance(place, int):
            return place
        away = np.asarray(positions, dtype=np.float64) - resolve(place, positions)
        return int(np.argmin(np.einsum("ij,ij->i", away, away)))

    def check(self, n_vertices: int, where: str | PathLike[str] | None = None) -> Landmarks:
        """The same landmarks, after a check that every vertex is in [0, n_vertices).

        Raises MoueError, with the landmark's name, where one is not; `where` is the file of the landmarks.
        """
        everything = [("landmark", name, [place]) for name, place in self.points.items()]
        everything += [("curve", name, list(curve)) for name, curve in self.curves.items()]
        for kind, name, places in everything:
            for vertex in (v for place in places for v in _vertices_of(place)):
                if not 0 <= vertex < n_vertices:
                    raise MoueError(
                        f"{kind} {name!r} is at vertex {vertex}, the mesh has {n_vertices}",
                        where,
                        hint="vertices count from 0; was it marked on another mesh?",
                    )
        return self
