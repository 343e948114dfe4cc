"""A document's head at a finer level: subdivided, with the library's own detail where the document has that level.

`[levels]` names folders in which the same library lives at level 1 and above, vertices in the order of
`composer.head.levels`. A bake at level k starts from the finest of them that is not above k; what is left is plain
subdivision. Targets are read one at a time, when a recipe uses them.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.sculpted import SculptedDetail
from composer.errors import MoueError
from composer.formats.library import targets_in
from composer.formats.registry import read_mesh
from composer.geometry.polygons import Polygons
from composer.head.detail import Detail, Frames
from composer.head.levels import HIGHEST_LEVEL, Refinement, head_at_level, levels, refine, vertex_count
from composer.mixing.detailed import detailed_pose
from composer.mixing.recipe import Recipe
from composer.units import mm_per

MOST_VERTICES = 50_000_000


class Finer:
    """Poses of a document at one level. `head` is the neutral there, without shapes, for writing."""

    def __init__(self, evaluated: EvaluatedDocument, level: int, rules: Sequence[Refinement] | None = None) -> None:
        """`rules` are steps from the cage to the level by other rules of subdivision than `levels`.

        Raises MoueError where the level is not in 0 to 8, or a folder of the document is not of its level."""
        if not 0 <= level <= HIGHEST_LEVEL:
            raise MoueError(f"level {level} is not in 0 to {HIGHEST_LEVEL}")
        vertices = vertex_count(evaluated.head.polygons, level)
        if vertices > MOST_VERTICES:
            raise MoueError(f"level {level} has {vertices:,} vertices, more than can be baked", evaluated.project.path)
        self.evaluated = evaluated
        self._sculpted = SculptedDetail(
            evaluated, level, lambda k: self.base if k == level else Finer(evaluated, k).base
        )
        own = max((known for known in evaluated.project.levels if known <= level), default=0)
        self.detail = _detail(evaluated, own, evaluated.project.levels[own]) if own else None
        base = self.detail.steps[-1].polygons if self.detail else evaluated.head.polygons
        self.steps: list[Refinement] = levels(base, level - own) if rules is None else list(rules[own:])
        self.head = head_at_level(evaluated.head.with_(shapes=()), level)
        if rules is not None:
            self.head = self.head.with_(neutral=refine(evaluated.head.neutral, rules))
        if self.detail is not None:
            neutral = refine(self.detail.add(evaluated.head.neutral, self.detail.neutral), self.steps)
            self.head = self.head.with_(neutral=neutral)

    def pose(self, recipe: Recipe, strength: float) -> NDArray[np.float64]:
        """(m, 3) mm, a recipe's pose at the level, at another strength than its own."""
        return self._sculpted.add(self.base(recipe, strength), recipe, strength)

    def frames_at(self, recipe: Recipe, strength: float) -> NDArray[np.float64]:
        """(m, 3, 3) the local frames in which accepted sculpts keep their detail at this level, 1 or above."""
        return Frames(self.head.polygons).at(self.base(recipe, strength))

    def base(self, recipe: Recipe, strength: float) -> NDArray[np.float64]:
        """(m, 3) mm, the same without the details that accepted sculpts have of their own."""
        if self.detail is None:
            return refine(self.evaluated.pose(recipe, strength), self.steps)
        cage = self.evaluated.pose(recipe, strength)
        fine = detailed_pose(self.evaluated.mixer, self.detail, recipe.with_(strength=strength), cage)
        return refine(fine, self.steps)


def _detail(evaluated: EvaluatedDocument, level: int, folder: Path) -> Detail:
    files = {file.stem: file for file in targets_in(folder)}
    if evaluated.head.neutral_name not in files:
        raise MoueError(f"holds no {evaluated.head.neutral_name!r}, the neutral at level {level}", folder)
    finest = levels(evaluated.head.polygons, level)[-1].polygons
    scale = mm_per(evaluated.head.unit)

    def target_at(name: str) -> NDArray[np.float64] | None:
        return _positions(files[name], finest, level) * scale if name in files else None

    neutral = _positions(files[evaluated.head.neutral_name], finest, level) * scale
    return Detail(evaluated.head, level, neutral, target_at)


def _positions(path: Path, polygons: Polygons, level: int) -> NDArray[np.float64]:
    mesh = read_mesh(path)
    if mesh.n_vertices != polygons.n_vertices:
        raise MoueError(f"has {mesh.n_vertices} vertices, level {level} has {polygons.n_vertices}", path)
    if not mesh.polygons.same_as(polygons):
        raise MoueError(f"is not in Moue's own order of level {level}", path, hint="leave the level out")
    return mesh.positions
