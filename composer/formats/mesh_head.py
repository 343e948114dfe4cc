"""A mesh as a head, in mm; and the same while it is still being read, for who looks on."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.formats.arrival import UNSEEN, Arrival, HeadArrival
from composer.formats.mesh import Mesh
from composer.head.aside import aside
from composer.head.axes import FileAxes
from composer.head.head import Head, InBetween, Shape
from composer.head.turning import turned
from composer.units import guess_unit, mm_per


def head_of(mesh: Mesh, unit: str | None = None) -> Head:
    """A mesh as a head, in mm: its shapes become the head's. `unit` overrules what its file says.

    Raises MoueError where two shapes have one name or the unit is not known.
    """
    unit = unit or mesh.unit
    unit, notes = (unit, []) if unit else guessed(mesh.diagonal)
    scale = mm_per(unit)
    return Head(
        mesh.name or (mesh.path.stem if mesh.path else "head"), mesh.polygons, mesh.positions * scale,
        tuple(_scaled(shape, scale) for shape in mesh.shapes),
        groups={**mesh.objects, **mesh.groups}, materials=mesh.materials, uv=mesh.uv, colours=mesh.colours,
        unit=unit, path=mesh.path, notes=(*mesh.notes, *notes),
    )  # fmt: skip


def guessed(diagonal: float) -> tuple[str, list[str]]:
    """The unit of a head whose box has this diagonal, and a sentence that it is a guess."""
    unit = guess_unit(diagonal) if diagonal > 0 else None
    if unit is None:
        return "mm", [f"A diagonal of {diagonal:.4g} is not that of a human head in any unit, so mm was taken."]
    return unit, [f"The unit was taken to be {unit}: the head's diagonal is then {diagonal * mm_per(unit):.0f} mm."]


def _scaled(shape: Shape, scale: float) -> Shape:
    between = tuple(InBetween(each.at, _times(each.delta, scale)) for each in shape.inbetweens)
    return Shape(shape.name, _times(shape.delta, scale), between)


def _times(delta: NDArray[np.float32], scale: float) -> NDArray[np.float32]:
    if scale == 1.0:
        return delta
    return aside((delta * np.float64(scale)).astype(np.float32))


class Teller:
    """Passes on to `look` what an `arrival` tells, as a head and its shapes, in mm and standing along `axes`. `unit` is
    that of the files, by default what they say, and `folder` the library's folder where it is one."""

    def __init__(self, look: HeadArrival | None, unit: str | None, axes: FileAxes, folder: Path | None = None) -> None:
        self.arrival = UNSEEN if look is None else Arrival(self._neutral, self._shape)
        self._look, self._unit, self._axes, self._folder = look or HeadArrival(), unit, axes, folder
        self._told: Head | None = None

    def _neutral(self, mesh: Mesh) -> None:
        head = head_of(mesh, self._unit)
        if self._folder is not None:
            head = replace(head, name=self._folder.name, path=self._folder)
        self._told = turned(head, self._axes)
        self._look.neutral(self._told)

    def _shape(self, shape: Shape) -> None:
        if self._told is not None:
            small = _scaled(shape, mm_per(self._told.unit))
            self._look.shape(turned(self._told.with_(shapes=(small,)), self._axes).shapes[0])

    def known(self, head: Head) -> Head:
        """The head that was read in the end, with the surface of the one that was told where that is the same: what
        was found on it need not be found again."""
        told = self._told
        if told is not None and head.polygons is told.polygons and np.array_equal(head.neutral, told.neutral):
            vars(head)["surface"] = told.surface
        return head
