"""Every shape cut by regions, or into left and right, into displacements that sum to it.

A piece that moves nothing is left out unless it is wanted. What a piece of less than a thousandth of a millimetre moves
stays in the last piece of its shape, so that the pieces that are written sum to the shape all the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.mixing.recipe import REMAINDER
from masks.combine import split_sides
from masks.partition import FACE

Floats = NDArray[np.float64]
By = Literal["regions", "sides"]
NOTHING_MM = 1e-3
"""A piece that moves no vertex further is empty: a thousandth of a millimetre, which no renderer shows (our choice)."""
ROUNDING = 1e-7
"""Of the head's diagonal: what a last piece holds at most where it is only what float32 rounds off."""


@dataclass(frozen=True, eq=False)
class Split:
    """How the shapes are cut: by `masks` (n,), each named, what is left going into a last piece named `last`; and the
    names of the pieces that move something, of all if `keep_empty`, and how many are left out."""

    evaluated: EvaluatedDocument
    masks: dict[str, Floats]
    last: str
    keep_empty: bool
    names: tuple[str, ...] = ()
    left_out: int = 0

    def pieces(self) -> Iterator[tuple[str, Floats]]:
        """`SHAPE.PIECE` and its displacement (n, 3) in mm, of every shape, one at a time, without what is left out."""
        head = self.evaluated.head
        for shape in head.expressions:
            rest = shape.delta.astype(np.float64)
            still = not shape.delta.any()
            for name, mask in self.masks.items():
                piece = self.evaluated.mixer.standing.masked(shape.delta, mask)
                if self.keep_empty or not (still or float(np.abs(piece).max(initial=0.0)) < NOTHING_MM):
                    rest -= piece
                    yield f"{shape.name}.{name}", piece
            if self.keep_empty or float(np.abs(rest).max(initial=0.0)) > ROUNDING * head.diagonal:
                yield f"{shape.name}.{self.last}", rest


def split_shapes(evaluated: EvaluatedDocument, by: By, ramp_mm: float = 12.0, keep_empty: bool = False) -> Split:
    """Cut every shape by the regions of the set `face`, with `remainder` for what they leave (overlays take no part),
    or into `left` and `right`, going over within `ramp_mm` about the midline x = 0. Nothing is kept in memory: each
    piece is made twice, first to know which are empty.
    """
    if by == "sides":
        left, _ = split_sides(np.ones(evaluated.head.n_vertices), evaluated.head.neutral[:, 0], ramp_mm)
        masks, last = {"left": left}, "right"
    else:
        lift = evaluated.mixer.anchors.lift
        sharing = [region.name for region in evaluated.project.regions if region.set == FACE]
        masks, last = {name: lift(evaluated.effective[name]) for name in sharing}, REMAINDER
    cut = Split(evaluated, masks, last, keep_empty)
    names = tuple(name for name, _ in cut.pieces())
    every = len(evaluated.head.expressions) * (len(masks) + 1)
    return Split(evaluated, masks, last, keep_empty, names, every - len(names))
