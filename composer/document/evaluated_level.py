"""A document at a level: its head subdivided, with the details of the library and of accepted sculpts at that level.

Level 0 is the cage. `[levels]` names folders that hold the same library at level 1 and above, with vertices in the
order of `composer.head.levels`. Level k starts from the finest of them that is not above k; from there on it is plain
subdivision. The details of accepted sculpts of level k and below are added (`composer.document.kept_detail`). Targets
and details are read when a recipe uses them.

One chain of subdivision factors serves all uses of a level: the coarser levels below it, and the same level of an
edited document (`of`).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.kept_detail import KeptDetail
from composer.document.soft_levels import finer_by
from composer.errors import MoueError
from composer.formats.library import targets_in
from composer.formats.registry import read_mesh
from composer.geometry.polygons import Polygons
from composer.head.detail import Detail, Frames
from composer.head.head import Head
from composer.head.levels import HIGHEST_LEVEL, Refinement, head_at_level, levels, refine, vertex_count
from composer.mixing.detailed import detailed_pose
from composer.mixing.recipe import Recipe
from composer.units import mm_per

MOST_VERTICES = 50_000_000
"""A level with more vertices is refused: each of its poses would take more than 1.2 GB of memory."""


class EvaluatedLevel:
    """Poses of a document at one level. `steps` are the factors of plain subdivision from the cage to the level."""

    def __init__(
        self, evaluated: EvaluatedDocument, level: int = 0, *, rules: Sequence[Refinement] | None = None,
        steps: Sequence[Refinement] | None = None,
    ) -> None:  # fmt: skip
        """`rules` are steps to the level by other rules of subdivision; `steps` are plain steps already computed.

        Raises MoueError where the level is not in 0 to 8, or a folder of the document is not of its level."""
        if not 0 <= level <= HIGHEST_LEVEL:
            raise MoueError(f"level {level} is not in 0 to {HIGHEST_LEVEL}")
        vertices = vertex_count(evaluated.head.polygons, level)
        if vertices > MOST_VERTICES:
            raise MoueError(f"level {level} has {vertices:,} vertices, more than can be baked", evaluated.project.path)
        self.evaluated, self.level = evaluated, level
        self.steps = list(steps[:level]) if steps is not None else levels(evaluated.head.polygons, level)
        self._rules = list(rules) if rules is not None else self.steps
        self.library_level = max((known for known in evaluated.project.levels if known <= level), default=0)
        self.kept = [
            KeptDetail(self.coarser(k), places) for k, places in sorted(_kept_places(evaluated).items()) if k <= level
        ]

    def of(self, evaluated: EvaluatedDocument) -> EvaluatedLevel:
        """The same level of an edited document of the same head; the factors are shared."""
        return EvaluatedLevel(evaluated, self.level, rules=self._rules, steps=self.steps)

    def coarser(self, level: int) -> EvaluatedLevel:
        """A level of the document at or below this one; the factors are shared."""
        return self if level == self.level else EvaluatedLevel(self.evaluated, level, steps=self.steps)

    @cached_property
    def head(self) -> Head:
        """The neutral at the level, without shapes, for writing."""
        evaluated = self.evaluated
        cage = evaluated.head.neutral
        if self.detail is not None:
            neutral = refine(self.detail.add(cage, self.detail.neutral), self._rules[self.library_level :])
        else:
            neutral = refine(cage, self._rules)
        whole = evaluated.head.with_(shapes=())
        return head_at_level(whole, self.level, factors=self.steps, neutral=neutral) if self.level else whole

    @property
    def polygons(self) -> Polygons:
        """The connectivity at the level."""
        return self.steps[-1].polygons if self.steps else self.evaluated.head.polygons

    @cached_property
    def detail(self) -> Detail | None:
        """The library's own detail at the finest level that it has at or below this one."""
        if not self.library_level:
            return None
        folder = self.evaluated.project.levels[self.library_level]
        return _detail(self.evaluated, self.steps[: self.library_level], folder)

    @cached_property
    def frames(self) -> Frames:
        """The local frames in which accepted sculpts keep their detail at this level, 1 or above."""
        return Frames(self.polygons)

    def pose(self, recipe: Recipe, strength: float | None = None) -> NDArray[np.float64]:
        """(m, 3) mm, a recipe's pose at the level, by default at its own strength.

        Raises MoueError as `EvaluatedDocument.check`, and where a detail cannot be read or mirrored.
        """
        pose = self.base(recipe, strength)
        for kept in self.kept:
            offset = kept.offset(recipe, strength)
            if offset is not None:
                pose = pose + refine(offset, self.steps[kept.level.level :])
        return pose

    def base(self, recipe: Recipe, strength: float | None = None) -> NDArray[np.float64]:
        """(m, 3) mm, the same without the details of accepted sculpts."""
        cage = self.evaluated.pose(recipe, strength)
        amount = recipe.strength if strength is None else strength
        if self.detail is None:
            pose = refine(cage, self._rules)
        else:
            fine = detailed_pose(self.evaluated.mixer, self.detail, recipe.with_(strength=amount), cage)
            pose = refine(fine, self._rules[self.library_level :])
        finer = finer_by(self.evaluated, recipe, self.steps, self._rules)
        return pose if finer is None else pose + amount * finer


def _kept_places(evaluated: EvaluatedDocument) -> dict[int, dict[str, str]]:
    """By level and name of a kept shape, the place of its detail."""
    places: dict[int, dict[str, str]] = {}
    for name, said in evaluated.project.shapes.items():
        for level, place in said.get("detail", {}).items():
            places.setdefault(int(level), {})[name] = place
    return places


def _detail(evaluated: EvaluatedDocument, steps: Sequence[Refinement], folder: Path) -> Detail:
    level, finest = len(steps), steps[-1].polygons
    files = {file.stem: file for file in targets_in(folder)}
    if evaluated.head.neutral_name not in files:
        raise MoueError(f"holds no {evaluated.head.neutral_name!r}, the neutral at level {level}", folder)
    scale = mm_per(evaluated.head.unit)

    shapes = evaluated.project.shapes

    def placed(name: str) -> NDArray[np.float64]:
        return evaluated.head.axes.from_files(_positions(files[name], finest, level) * scale)

    def target_at(name: str) -> NDArray[np.float64] | None:
        if name not in files or shapes.get(name, {}).get("replaces"):  # a retouched one has no finer target of its own
            return None
        return placed(name)

    return Detail(evaluated.head, level, placed(evaluated.head.neutral_name), target_at, steps=steps)


def _positions(path: Path, polygons: Polygons, level: int) -> NDArray[np.float64]:
    mesh = read_mesh(path)
    if mesh.n_vertices != polygons.n_vertices:
        raise MoueError(f"has {mesh.n_vertices} vertices, level {level} has {polygons.n_vertices}", path)
    if not mesh.polygons.same_as(polygons):
        raise MoueError(f"is not in Moue's own order of level {level}", path, hint="leave the level out")
    return mesh.positions
