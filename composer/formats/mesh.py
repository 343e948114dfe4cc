"""The content of one geometry file before it becomes a head, in the file's own unit and order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import Head, InBetween, Shape, TextureCoordinates
from composer.units import mm_per


@dataclass(frozen=True, eq=False)
class Mesh:
    """One mesh of polygons with the names and values of its file. Positions (n, 3) float64 are in the file's unit.

    `groups`, `objects` and `materials` give polygon indices (int32) by name, in file order; `colours` (n, 3) in [0, 1];
    `shapes` are displacements in the file's unit, where the format has them. `unit` is the file's unit, None where it
    does not give one. `notes` say what was guessed or left out.
    """

    polygons: Polygons
    positions: NDArray[np.float64]
    uv: TextureCoordinates | None = None
    groups: dict[str, NDArray[np.int32]] = field(default_factory=dict)
    objects: dict[str, NDArray[np.int32]] = field(default_factory=dict)
    materials: dict[str, NDArray[np.int32]] = field(default_factory=dict)
    material_files: tuple[str, ...] = ()
    colours: NDArray[np.float64] | None = None
    shapes: tuple[Shape, ...] = ()
    unit: str | None = None
    name: str = ""
    path: Path | None = None
    notes: tuple[str, ...] = ()

    @property
    def n_vertices(self) -> int:
        """Number of vertices n."""
        return len(self.positions)

    @property
    def diagonal(self) -> float:
        """The bounding box's diagonal, in the file's unit."""
        return float(np.linalg.norm(np.ptp(self.positions, axis=0))) if len(self.positions) else 0.0

    def in_unit(self, unit: str) -> Mesh:
        """The same mesh in another unit; itself where that is its unit, or where its unit is not known."""
        if self.unit is None or self.unit == unit:
            return self
        return _scaled(self, mm_per(self.unit) / mm_per(unit), unit)


def textures_of(meshes: Sequence[Mesh]) -> TextureCoordinates | None:
    """The texture coordinates of meshes laid one after the other; None where none has any, -1 at corners without."""
    if all(mesh.uv is None for mesh in meshes):
        return None
    uv, indices, so_far = [], [], 0
    for mesh in meshes:
        if mesh.uv is None:
            indices.append(np.full(len(mesh.polygons.indices), -1, dtype=np.int32))
            continue
        uv.append(mesh.uv.uv)
        indices.append(np.where(mesh.uv.indices >= 0, mesh.uv.indices + so_far, -1).astype(np.int32))
        so_far += len(mesh.uv.uv)
    return TextureCoordinates(np.concatenate(uv), np.concatenate(indices))


def _scaled(mesh: Mesh, scale: float, unit: str) -> Mesh:
    shapes = tuple(
        Shape(
            s.name,
            _times(s.delta, scale),
            tuple(InBetween(b.at, _times(b.delta, scale)) for b in s.inbetweens),
        )
        for s in mesh.shapes
    )
    return replace(mesh, positions=mesh.positions * scale, shapes=shapes, unit=unit)


def _times(delta: NDArray, scale: float) -> NDArray[np.float32]:
    return np.multiply(delta, scale, dtype=np.float64).astype(np.float32)


def mesh_of(head: Head, positions_mm: NDArray | None = None, shapes: bool = False, unit: str | None = None) -> Mesh:
    """A head as a mesh to write, at its neutral or at `positions_mm` (n, 3), in `unit` or its files' unit, standing as
    its files do.

    With `shapes` it has the head's shapes, as displacements of the neutral. Raises MoueError for an unknown unit or
    another number of positions.
    """
    unit = unit or head.unit
    points = head.neutral if positions_mm is None else np.asarray(positions_mm, dtype=np.float64)
    if points.shape != (head.n_vertices, 3):
        raise MoueError(f"{len(points)} vertices were given for a head of {head.n_vertices}", head.path)
    mesh = Mesh(
        head.polygons,
        head.axes.to_files(points),
        head.uv,
        dict(head.groups),
        materials=dict(head.materials),
        colours=head.colours,
        shapes=_in_files(head) if shapes else (),
        unit="mm",
        name=head.name,
        path=head.neutral_file,
    )
    return mesh.in_unit(unit)


def _in_files(head: Head) -> tuple[Shape, ...]:
    """The head's shapes in the axes of its files."""
    if head.axes.as_they_are:
        return head.shapes
    turn = head.axes.to_files
    return tuple(
        Shape(s.name, turn(s.delta), tuple(InBetween(b.at, turn(b.delta)) for b in s.inbetweens)) for s in head.shapes
    )
