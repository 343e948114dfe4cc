"""A head: one topology with a neutral, its shapes and its parts. Lengths are millimetres.

Heads are frozen and their arrays read-only, so that heads, documents and views can share arrays and compare them by
identity. A change makes a new head that shares all unchanged parts.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, unknown
from composer.geometry.polygons import Polygons, read_only
from composer.geometry.surface import Surface
from composer.head.axes import FileAxes
from composer.head.landmarks import Landmarks

Follows = Literal["skull", "jaw", "surface", "own"]
FOLLOWS: tuple[Follows, ...] = ("skull", "jaw", "surface", "own")


@dataclass(frozen=True, eq=False)
class InBetween:
    """The displacement (n, 3) float32 in mm that a shape has at the weight `at`, not 0 and not 1."""

    at: float
    delta: NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Shape:
    """A named displacement of the neutral: `delta` (n, 3) float32 in mm, target minus neutral.

    `is_head` is true where the target is another head at rest, not an expression of this one.
    """

    name: str
    delta: NDArray[np.float32]
    inbetweens: tuple[InBetween, ...] = ()
    is_head: bool = False

    @property
    def furthest_mm(self) -> float:
        """The largest movement of a vertex in mm."""
        square = np.einsum("ij,ij->i", self.delta, self.delta, dtype=np.float64)
        return float(np.sqrt(square.max(initial=0.0)))


@dataclass(frozen=True, eq=False)
class Part:
    """A part that is not skin: its `vertices` (k,) and what it follows: skull, jaw, surface, or its own shapes.

    `gaze` (3,) is the unit direction in which an eyeball looks at rest, if known.
    """

    name: str
    vertices: NDArray[np.int32]
    follows: Follows = "skull"
    gaze: tuple[float, float, float] | None = None


@dataclass(frozen=True, eq=False)
class TextureCoordinates:
    """`uv` (m, 2), origin at the lower left, and one index into it per polygon corner (k,), -1 for none."""

    uv: NDArray[np.float64]
    indices: NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Head:
    """One topology with a neutral (n, 3) float64 in mm, its shapes and parts.

    x is the subject's left, y up, z where the face looks. `unit` is the unit of the head's own files and `axes` say how
    the head stands in them; `neutral_file` is the OBJ whose text a bake rewrites, if any; `groups`
    and `materials` give polygon indices by name; `colours` (n, 3) in [0, 1]; `notes` are sentences about guesses made
    while reading.
    """

    name: str
    polygons: Polygons
    neutral: NDArray[np.float64]
    shapes: tuple[Shape, ...] = ()
    parts: tuple[Part, ...] = ()
    groups: dict[str, NDArray[np.int32]] = field(default_factory=dict)
    materials: dict[str, NDArray[np.int32]] = field(default_factory=dict)
    uv: TextureCoordinates | None = None
    colours: NDArray[np.float64] | None = None
    unit: str = "mm"
    neutral_name: str = "neutral"
    neutral_file: Path | None = None
    path: Path | None = None
    notes: tuple[str, ...] = ()
    landmarks: Landmarks | None = None
    axes: FileAxes = FileAxes()

    def __post_init__(self) -> None:
        n = self.polygons.n_vertices
        if self.neutral.shape != (n, 3):
            raise MoueError(f"the neutral has {len(self.neutral)} vertices, its polygons use {n}", self.path)
        read_only(self.neutral)
        seen: set[str] = set()
        for shape in self.shapes:
            if shape.name in seen:
                raise MoueError(f"two shapes are named {shape.name!r}", self.path, hint="rename one of them")
            seen.add(shape.name)
            if shape.delta.shape != (n, 3):
                raise MoueError(f"shape {shape.name!r} has {len(shape.delta)} vertices, the neutral {n}", self.path)

    @property
    def n_vertices(self) -> int:
        """Number of vertices n, parts included."""
        return self.polygons.n_vertices

    @cached_property
    def skin(self) -> NDArray[np.bool_]:
        """(n,) whether a vertex belongs to no part."""
        on = np.ones(self.n_vertices, dtype=bool)
        for part in self.parts:
            on[part.vertices] = False
        return read_only(on)

    @cached_property
    def diagonal(self) -> float:
        """The neutral's bounding-box diagonal in mm: the size of the head."""
        return float(np.linalg.norm(np.ptp(self.neutral, axis=0))) if self.n_vertices else 0.0

    @cached_property
    def surface(self) -> Surface:
        """The neutral as a surface for masks: geometry and operators, computed at first use."""
        return Surface(self.polygons, self.neutral)

    @cached_property
    def shape_index(self) -> dict[str, int]:
        """The index of each shape in `shapes`, by name."""
        return {shape.name: i for i, shape in enumerate(self.shapes)}

    @property
    def shape_names(self) -> list[str]:
        """Names of the shapes, in order."""
        return [shape.name for shape in self.shapes]

    @cached_property
    def expressions(self) -> tuple[Shape, ...]:
        """The shapes of this head itself, in order, without those that are other heads."""
        return tuple(shape for shape in self.shapes if not shape.is_head)

    def shape(self, name: str) -> Shape:
        """The shape of this name. Raises MoueError for an unknown name, with the nearest ones."""
        if name not in self.shape_index:
            raise unknown("shape", name, self.shape_names, self.path)
        return self.shapes[self.shape_index[name]]

    def part(self, name: str) -> Part:
        """The part of this name. Raises MoueError for an unknown name, with the nearest ones."""
        for part in self.parts:
            if part.name == name:
                return part
        raise unknown("part", name, [part.name for part in self.parts], self.path)

    def target(self, name: str) -> NDArray[np.float64]:
        """(n, 3) the absolute vertices of a shape in mm; the neutral itself for the neutral's name."""
        if name == self.neutral_name and name not in self.shape_index:
            return self.neutral
        return self.neutral + self.shape(name).delta

    def with_(self, **changes: object) -> Head:
        """A head with some fields replaced; what does not change is shared."""
        return replace(self, **changes)  # type: ignore[arg-type]
