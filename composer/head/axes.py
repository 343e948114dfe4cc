"""Which way a head stands in its files, and turning places between their axes and the head's own.

Inside, x is the subject's left, y is up and z is where the face looks, whatever the files say at the boundary: as
lengths are millimetres whatever the unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError

Vector = tuple[float, float, float]
Array = TypeVar("Array", bound=NDArray[Any])
NAMES = ("x", "y", "z")
UPRIGHT = 1e-6
"""The cosine by which up and ahead may miss a right angle: rounding of a file."""


@dataclass(frozen=True)
class FileAxes:
    """`up` and `ahead` of the head as unit vectors (3,) in its files' space, at a right angle to each other."""

    up: Vector = (0.0, 1.0, 0.0)
    ahead: Vector = (0.0, 0.0, 1.0)

    @classmethod
    def of_rows(cls, rows: NDArray) -> FileAxes:
        """From a rotation (3, 3) whose rows are left, up and ahead."""
        _, up, ahead = (tuple(round(float(each), 9) + 0.0 for each in row) for row in rows)
        return cls(up, ahead)  # type: ignore[arg-type]

    @classmethod
    def read(cls, up: Any, ahead: Any, where: Path | None = None) -> FileAxes | None:
        """From what a file says: each an axis as "z" or "-y", or three numbers; None where it says neither.

        Raises MoueError, with `where`, where only one is said, one is no direction, or both lie along one axis.
        """
        if up is None and ahead is None:
            return None
        if up is None or ahead is None:
            raise MoueError("says only one of up and ahead", where, hint='as up = "z" and ahead = "-y"')
        one, other = (_direction(value, key, where) for key, value in (("up", up), ("ahead", ahead)))
        if abs(float(one @ other)) > 0.1:
            raise MoueError("has up and ahead along the same axis", where, hint='as up = "z" and ahead = "-y"')
        if abs(float(one @ other)) > UPRIGHT:
            other = other - (one @ other) * one
            other /= np.linalg.norm(other)
        return cls(tuple(one.tolist()), tuple(other.tolist()))

    @cached_property
    def rows(self) -> NDArray[np.float64]:
        """(3, 3) left, up and ahead in the files' space."""
        return np.stack([np.cross(self.up, self.ahead), self.up, self.ahead])

    @property
    def as_they_are(self) -> bool:
        """Whether the files stand as Moue does: up is y and ahead is z."""
        return self == FileAxes()

    @property
    def along_axes(self) -> bool:
        """Whether up and ahead are axes of the files, whichever."""
        return bool(_named(self.up) and _named(self.ahead))

    def from_files(self, points: Array) -> Array:
        """Places or displacements (..., 3) of the files, turned to the head's own axes; of the same type."""
        return points if self.as_they_are else points @ self.rows.T.astype(points.dtype)  # type: ignore[return-value]

    def to_files(self, points: Array) -> Array:
        """Places or displacements (..., 3) of the head, turned to the axes of the files; of the same type."""
        return points if self.as_they_are else points @ self.rows.astype(points.dtype)  # type: ignore[return-value]

    @property
    def words(self) -> str:
        """As in "up is z, ahead is -y"."""
        return f"up is {_said(self.up)}, ahead is {_said(self.ahead)}"

    @property
    def written(self) -> dict[str, Any]:
        """The keys `up` and `ahead` for a file."""
        return {key: name if (name := _named(axis)) else [float(each) for each in axis]
                for key, axis in (("up", self.up), ("ahead", self.ahead))}  # fmt: skip


def _direction(value: Any, key: str, where: Path | None) -> NDArray[np.float64]:
    if isinstance(value, str):
        name = value.strip().lower().removeprefix("+")
        sign, name = (-1.0, name[1:]) if name.startswith("-") else (1.0, name)
        if name in NAMES:
            return sign * np.eye(3)[NAMES.index(name)]
    elif isinstance(value, list | tuple) and len(value) == 3:
        numbers = [each for each in value if isinstance(each, int | float) and not isinstance(each, bool)]
        length = float(np.linalg.norm(np.array(numbers, dtype=np.float64)))
        if len(numbers) == 3 and np.isfinite(length) and length > 1e-9:
            return np.array(numbers, dtype=np.float64) / length
    raise MoueError(f"has {key} = {str(value)[:40]!r}, which is no direction", where, hint='as "z", "-y" or [0, 0, 1]')


def _named(axis: Vector) -> str:
    k = int(np.argmax(np.abs(axis)))
    if abs(abs(axis[k]) - 1.0) > 1e-9:
        return ""
    return ("" if axis[k] > 0 else "-") + NAMES[k]


def _said(axis: Vector) -> str:
    return _named(axis) or "(" + ", ".join(f"{each:.2f}" for each in axis) + ")"
