"""The details of accepted sculpts at one level, mixed like their shapes.

A sculpt accepted at level K is stored as a delta of the cage and, under `detail`, an array (n_K, 3) in mm in the local
frames of the pose at level K (`composer.head.detail.Frames`). With X_K a recipe's pose there without such details, the
offset is F(X_K) times their weighted sum. A corrective's detail has its amount as weight, everywhere; the detail of a
cell's shape has the cell's weight times its row's share, subdivided to the level. At levels above K the offset is
subdivided; below K it is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.document.mask_file import checked_delta, read_delta
from composer.document.stored import file_of
from composer.head.levels import refine
from composer.head.symmetry import mirror_at_level
from composer.mixing.corrective import felt_in
from composer.mixing.recipe import ALL, Cell, Recipe

if TYPE_CHECKING:
    from composer.document.evaluated_level import EvaluatedLevel


class KeptDetail:
    """The details of a document's kept shapes at the level at which they were sculpted."""

    def __init__(self, level: EvaluatedLevel, places: Mapping[str, str]) -> None:
        """`places` are the files or stored arrays of the details, by shape; they are read when a recipe uses them."""
        self.level, self._places = level, places
        self._read: dict[tuple[str, bool], NDArray] = {}

    def offset(self, recipe: Recipe, strength: float | None = None) -> NDArray[np.float64] | None:
        """(n_K, 3) mm, the offset of a recipe's pose by its details at their level; None where no detail is used.

        Raises MoueError where a detail cannot be read, or is of another level.
        """
        amount = recipe.strength if strength is None else strength
        local: NDArray[np.float64] | None = None
        for name, mirrored, share in self._used(recipe):
            part = np.multiply(self._detail(name, mirrored), share)
            local = part if local is None else local + part
        if local is None or amount == 0.0:
            return None
        return self.level.frames.out_of(self.level.base(recipe, amount), amount * local)

    def _used(self, recipe: Recipe) -> Iterator[tuple[str, bool, float | NDArray]]:
        """Shapes with details that a recipe uses, whether mirrored, and their weight: (n_K, 1) or a number."""
        evaluated = self.level.evaluated
        for name, amount in evaluated.correctives.amounts(felt_in(recipe)).items():
            if name in self._places:
                yield name, False, amount
        cells = [cell for cell in recipe.cells if cell.shape in self._places and cell.weight != 0.0]
        shares = evaluated.mixer.shares(recipe) if cells else {}
        for cell in cells:
            yield cell.shape, cell.mirrored, cell.weight * refine(shares[cell.region], self.level.steps)[:, None]

    def _detail(self, name: str, mirrored: bool) -> NDArray:
        if (name, mirrored) not in self._read:
            self._read[name, mirrored] = self._mirrored(name) if mirrored else self._stored(name)
        return self._read[name, mirrored]

    def _stored(self, name: str) -> NDArray:
        project, place = self.level.evaluated.project, self._places[name]
        held = project.stored.get(place)
        values = read_delta(file_of(project, place)) if held is None else held
        return checked_delta(values, f"{project.path} {place}", self.level.polygons.n_vertices)

    def _mirrored(self, name: str) -> NDArray:
        """The detail of a shape's mirror image: mirrored in space, then put in the frames of the mirrored pose."""
        evaluated = self.level.evaluated
        mirror = mirror_at_level(evaluated.mirror_map, self.level.steps, evaluated.head.neutral)
        one, other = (Recipe(name, (Cell(ALL, name, 1.0, flip),)) for flip in (False, True))
        turned = self.level.frames.out_of(self.level.base(one), self._detail(name, False))
        return self.level.frames.into(self.level.base(other), mirror.vectors(turned))
