"""What accepted sculpts add at finer levels: the detail of kept shapes, mixed as the shapes are.

A sculpt that came back at level K is kept as a delta of the cage and, under `detail`, an array (n_K, 3) in mm in
the local frames of the pose at level K (`composer.head.detail.Frames`). With X_K a recipe's pose there without such
details, they bring F(X_K) times their sum to it: for a corrective by its amount, everywhere; for a shape in a cell
by the cell's weight under its row's share, lifted. At levels above K that is subdivided; below K it is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.mask_file import checked_delta, read_delta
from composer.document.stored import file_of
from composer.head.detail import Frames
from composer.head.levels import levels, refine
from composer.head.symmetry import mirror_at_level
from composer.mixing.corrective import felt_in
from composer.mixing.recipe import ALL, Cell, Recipe

BaseAt = Callable[[int], Callable[[Recipe, float], NDArray[np.float64]]]
"""By level, the poses (n_k, 3) mm of recipes at a strength, without details of kept shapes."""


class SculptedDetail:
    """The details of a document's kept shapes that a level shows: those of this level and of coarser ones."""

    def __init__(self, evaluated: EvaluatedDocument, level: int, base_at: BaseAt) -> None:
        """Details are read when a recipe uses them; the errors of `add` are theirs."""
        self.evaluated, self.level = evaluated, level
        said = evaluated.project.shapes.items()
        own = {(int(k), name): place for name, table in said for k, place in table.get("detail", {}).items()}
        levels_used = sorted({k for k, _ in own if k <= level})
        self._at = [
            _Level(evaluated, k, {name: place for (at, name), place in own.items() if at == k}, base_at)
            for k in levels_used
        ]

    def add(self, pose: NDArray, recipe: Recipe, strength: float) -> NDArray[np.float64]:
        """(n_k, 3) mm, the pose at the level, with details.

        Raises MoueError where a detail cannot be read, is of another level, or has no mirror image where a cell
        needs one.
        """
        for one in self._at:
            offset = one.offset(recipe, strength)
            if offset is not None:
                steps = levels(one.steps[-1].polygons, self.level - one.k)
                pose = pose + refine(offset, steps)
        return pose


class _Level:
    def __init__(self, evaluated: EvaluatedDocument, k: int, places: dict[str, str], base_at: BaseAt) -> None:
        self.evaluated, self.k, self._places, self._base_at = evaluated, k, places, base_at
        self._read: dict[tuple[str, bool], NDArray] = {}

    @cached_property
    def steps(self) -> list:
        """From the cage to this level."""
        return levels(self.evaluated.head.polygons, self.k)

    @cached_property
    def frames(self) -> Frames:
        """Local frames here."""
        return Frames(self.steps[-1].polygons)

    @cached_property
    def base(self) -> Callable[[Recipe, float], NDArray[np.float64]]:
        """Poses here, without details of kept shapes."""
        return self._base_at(self.k)

    def offset(self, recipe: Recipe, strength: float) -> NDArray[np.float64] | None:
        """(n_k, 3) mm, what the details here bring; None where they bring nothing."""
        local: NDArray[np.float64] | None = None
        for name, mirrored, share in self._used(recipe):
            part = np.multiply(self._detail(name, mirrored), share)
            local = part if local is None else local + part
        if local is None or strength == 0.0:
            return None
        return np.einsum("nij,ni->nj", self.frames.at(self.base(recipe, strength)), strength * local)

    def _used(self, recipe: Recipe) -> Iterator[tuple[str, bool, float | NDArray]]:
        """Shapes with details here that a recipe uses, whether mirrored, and how much of them: (n_k, 1) or a number."""
        for name, amount in self.evaluated.correctives.amounts(felt_in(recipe)).items():
            if name in self._places:
                yield name, False, amount
        cells = [cell for cell in recipe.cells if cell.shape in self._places and cell.weight != 0.0]
        shares = self.evaluated.mixer.shares(recipe) if cells else {}
        for cell in cells:
            yield cell.shape, cell.mirrored, cell.weight * refine(shares[cell.region], self.steps)[:, None]

    def _detail(self, name: str, mirrored: bool) -> NDArray:
        if (name, mirrored) not in self._read:
            self._read[name, mirrored] = self._mirrored(name) if mirrored else self._stored(name)
        return self._read[name, mirrored]

    def _stored(self, name: str) -> NDArray:
        project, place = self.evaluated.project, self._places[name]
        held = project.stored.get(place)
        values = read_delta(file_of(project, place)) if held is None else held
        return checked_delta(values, f"{project.path} {place}", self.steps[-1].n_vertices)

    def _mirrored(self, name: str) -> NDArray:
        """The detail of a shape's mirror image: turned round in space, and put into the frames there."""
        fine = mirror_at_level(self.evaluated.mirror_map, self.steps, self.evaluated.head.neutral)
        one, other = (Recipe(name, (Cell(ALL, name, 1.0, flip),)) for flip in (False, True))
        turned = np.einsum("nij,ni->nj", self.frames.at(self.base(one, 1.0)), self._detail(name, False))
        return np.einsum("nij,nj->ni", self.frames.at(self.base(other, 1.0)), fine.vectors(turned))
