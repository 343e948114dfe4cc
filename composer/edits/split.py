"""Splitting every shape by regions or sides into displacements that sum to it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.mixing.recipe import REMAINDER
from masks.combine import split_sides
from masks.partition import FACE


def split_names(evaluated: EvaluatedDocument, by: str) -> list[str]:
    """The names of the pieces, `by` "regions" or "sides", in order."""
    pieces = ["left", "right"] if by == "sides" else [*_sharing(evaluated), REMAINDER]
    return [f"{shape.name}.{piece}" for shape in evaluated.head.shapes for piece in pieces]


def _sharing(evaluated: EvaluatedDocument) -> list[str]:
    return [region.name for region in evaluated.project.regions if region.set == FACE]


def split_by_regions(evaluated: EvaluatedDocument) -> Iterator[tuple[str, NDArray[np.float64]]]:
    """`SHAPE.REGION` and its displacement (n, 3) in mm, for every shape and every region of the set `face`.

    `SHAPE.remainder` is the rest, so that the pieces sum to the shape; overlays are left out.
    """
    masks = {name: evaluated.mixer.anchors.lift(evaluated.effective[name]) for name in _sharing(evaluated)}
    for shape in evaluated.head.shapes:
        rest = shape.delta.astype(np.float64)
        for name, mask in masks.items():
            piece = mask[:, None] * shape.delta
            rest -= piece
            yield f"{shape.name}.{name}", piece
        yield f"{shape.name}.{REMAINDER}", rest


def split_by_sides(evaluated: EvaluatedDocument, ramp_mm: float) -> Iterator[tuple[str, NDArray[np.float64]]]:
    """`SHAPE.left` and `SHAPE.right` (n, 3) in mm, blended over `ramp_mm` centred on the midline x = 0."""
    left, _ = split_sides(np.ones(evaluated.head.n_vertices), evaluated.head.neutral[:, 0], ramp_mm)
    for shape in evaluated.head.shapes:
        piece = left[:, None] * shape.delta
        yield f"{shape.name}.left", piece
        yield f"{shape.name}.right", shape.delta - piece
