"""How far a shape moves each vertex at a weight: in a straight line, through in-betweens, or about a hinge.

All three have one form: a few fixed fields (n, 3), and an amount of each that depends on the weight alone. A plain
shape has one field, its delta, with the amount w. So code that mixes displacements need not know the kind of a shape.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.head.head import Head, Shape
from composer.head.symmetry import MirrorMap
from composer.mixing.hinge import Hinge, turning_coefficients, turning_fields
from composer.mixing.inbetween import check_places, coefficients


@dataclass(frozen=True, eq=False)
class Motion:
    """A shape's displacement at any weight: sum of `amounts(w)` (k,) times `fields`, k arrays (n, 3) in mm."""

    fields: Sequence[NDArray]
    amounts: Callable[[float], Sequence[float]]

    def at(self, weight: float) -> NDArray[np.float64]:
        """(n, 3) float64 mm, the displacement at `weight`; exactly zero at 0, exactly a plain delta at 1."""
        total = np.zeros(self.fields[0].shape)
        for amount, field in zip(self.amounts(weight), self.fields, strict=True):
            if amount != 0.0:
                total += np.multiply(field, amount, dtype=np.float64)
        return total

    def mirrored(self, mirror: MirrorMap) -> Motion:
        """The mirror image: at each vertex the displacement of its mirror partner with x negated."""
        return Motion([mirror.vectors(field) for field in self.fields], self.amounts)


def motion(head: Head, shape: Shape, hinge: Hinge | None = None) -> Motion:
    """The motion of a shape of this head.

    Raises MoueError where a shape has both in-betweens and a hinge, and as `check_places` for its in-betweens.
    """
    if hinge is not None:
        if shape.inbetweens:
            raise MoueError(f"shape {shape.name!r} has in-betweens and a hinge", hint="remove one of the two")
        return Motion(turning_fields(head.neutral, shape.delta, hinge), partial(turning_coefficients, hinge.angle))
    if shape.inbetweens:
        places = [between.at for between in shape.inbetweens]
        check_places(places, shape.name)
        return Motion([*(b.delta for b in shape.inbetweens), shape.delta], partial(coefficients, tuple(places)))
    return Motion([shape.delta], _straight)


def _straight(weight: float) -> tuple[float]:
    return (weight,)
