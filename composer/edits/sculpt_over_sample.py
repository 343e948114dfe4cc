"""Reading back a sculpted bake that has the vertex order, the place and the rules of a sample.

What was sculpted is the difference from the bake over that sample (`composer.document.sample.InSampleOrder`), vertex by
vertex. Brought into Moue's order and the head's own place it is added to the recipe's pose.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.document.sample import InSampleOrder
from composer.edits.sculpt import Sculpt, positions_in
from composer.errors import MoueError
from composer.formats.registry import axes_in, read_mesh
from composer.geometry.polygons import read_only
from composer.head.order_difference import order_difference
from composer.units import mm_per


def read_sculpt_over(
    evaluated: EvaluatedDocument, recipe: str, path: Path | str, sample: Path | str, unit: str | None = None
) -> Sculpt:  # fmt: skip
    """The sculpt in a file that a bake of `recipe` over a `sample` became, as `composer.edits.sculpt.read_sculpt` gives
    it: at the sample's level, by its rules, in Moue's order and the head's place.

    `unit` is the unit of a file that does not state its own, by default the sample's. Raises MoueError, with the file,
    for an unknown recipe, where the sample fits no level of the head, and where the sculpt does not have the sample's
    polygons in its order.
    """
    path, held = Path(path), evaluated.project.recipe(recipe)
    over = InSampleOrder(evaluated, Path(sample))
    mesh = read_mesh(path)
    points = positions_in(mesh, path, recipe)
    expected = over.sample.mesh.polygons
    if mesh.n_vertices != expected.n_vertices:
        raise MoueError(f"has {mesh.n_vertices:,} vertices, the sample {expected.n_vertices:,}", path)
    difference = order_difference(expected, mesh.polygons)
    if difference is not None:
        raise MoueError(difference.words, path, hint="export it in the order of the sample")
    given = unit or mesh.unit or over.sample.unit
    placed = axes_in(evaluated.head, path).from_files(points * mm_per(given, str(path)))
    positions = np.array(EvaluatedRecipe(over.level, held).pose)
    positions[over.sample.order] += (placed - over.pose(held)) @ np.linalg.inv(over.sample.turn)
    return Sculpt(path, over.sample.level, read_only(positions), over.level.steps, over.sample.steps)
