"""How far along a change of weights the skin holds: no face turns over, and no seam strains much beyond the shapes.

Both are judged on the pose itself, with in-betweens, hinges, correctives and a seamless join as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.mixing.corrective import felt_in
from composer.mixing.linear import Mixer
from composer.mixing.live_join import JoinResponses
from composer.mixing.pull.movements import Movements
from composer.mixing.pull.seams import Seams
from composer.mixing.pull.skin import TURNED
from composer.mixing.pull.way import Way
from composer.mixing.recipe import Cell, CellKey, Recipe

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
_Motion = tuple[Callable[[float], Sequence[float]], list[NDArray]]
"""The amounts by weight of the fields of a motion, and the fields."""
RISE = 0.35
"""How much the strain of an edge on a seam may rise beyond the shapes' own at the 99th percentile, no unit. Chosen on
two libraries, where pulls that tear show 0.5 and more."""
LOOKS, NEAR = 6, 0.05
"""How often the pose is looked at on the way at most, and the fraction of the way that is near enough. Design choices,
no source."""
STRAINED = 0.9
"""A place at which the strain is this fraction of its limit is far enough. A design choice, no source."""
SAFE = 0.5
"""A face is looked at where its corners move against each other by more than this fraction of its height (times the
cosine to itself at rest). A design choice, no source."""


class Trust:
    """One recipe at the press of a pull: its pose on the patch, and what its shapes do alone."""

    def __init__(
        self, mixer: Mixer, recipe: Recipe, shares: Mapping[str, NDArray], given: Movements,
        joined: JoinResponses | None = None, further: NDArray | None = None,
    ) -> None:  # fmt: skip
        """`shares` (n,) are of all rows that may get cells. For a recipe that joins seamlessly `joined` gives what the
        join adds to a cell's movement, and `further` (f, 3) mm what it adds to the recipe."""
        self.mixer, self.recipe, self.shares, self.given, self.joined = mixer, recipe, shares, given, joined
        self._motions: dict[CellKey, _Motion] = {}
        patch = given.patch
        self.displacement = mixer.displacement(recipe)[patch.vertices]
        if joined is not None and further is not None:
            free = joined.join.zone.free
            self._join_at = np.flatnonzero(np.isin(free, patch.vertices))
            self._join_to = np.searchsorted(patch.vertices, free[self._join_at])
            self.displacement[self._join_to] += further[self._join_at]
        self.places = patch.positions + self.displacement
        self.turn_before = patch.turn(self.places)
        self.least_turn = np.where(self.turn_before > 2.0 * TURNED, TURNED, 0.0)
        """(f,) the cosine of each face to itself at rest below which it counts as turned over by the pull: TURNED, or 0
        where it is that near to its edge already."""
        self.upright = self.turn_before >= 0.0
        """(f,) whether a face is not turned over already."""
        self.slack = (SAFE * patch.height(self.places) * np.clip(self.turn_before, 0.0, 1.0)).astype(np.float32)
        """(f,) mm by which the corners of a face may move against each other before it is worth a look."""
        self.seams = Seams(patch, self.places, self.alone.values(), shares)
        self.some_seams = self.seams.some(dict.fromkeys([*recipe.regions, *(key[0] for key in given.keys)]))
        """The edges that are looked at while the length of a pull is searched for."""

    def moved(self, change: Floats) -> Singles:
        """(m, 3) mm, how the pose moves where the weights change by `change` (k,), exactly."""
        vertices = self.given.patch.vertices
        total, moves = np.zeros((len(vertices), 3), dtype=np.float32), np.empty((len(vertices), 3), dtype=np.float32)
        for amount, field in self._steps(change, self._motion):
            total += np.multiply(field, np.float32(amount), out=moves)
        self._correct(total, change, vertices)
        return total

    def moved_at(self, at: NDArray[np.int64]) -> Callable[[Floats], Singles]:
        """A function that gives (p, 3) mm, how the pose moves at these vertices (p,) of the patch, exactly."""
        vertices, known = self.given.patch.vertices[at], dict[int, _Motion]()

        def motion(i: int) -> _Motion:
            if i not in known:
                amounts, fields = self._motion(i)
                known[i] = amounts, [np.take(field, at, axis=0) for field in fields]
            return known[i]

        def moved(change: Floats) -> Singles:
            total = np.zeros((len(at), 3), dtype=np.float32)
            for amount, field in self._steps(change, motion):
                total += np.float32(amount) * field
            self._correct(total, change, vertices)
            return total

        return moved

    def _steps(self, change: Floats, motion: Callable[[int], _Motion]) -> Iterator[tuple[float, NDArray]]:
        """How much of each field of its motion every change of a weight adds, and the field."""
        for i in np.flatnonzero(change).tolist():
            amounts, fields = motion(i)
            start = float(self.given.start[i])
            for after, was, field in zip(amounts(start + float(change[i])), amounts(start), fields, strict=True):
                if after != was:
                    yield after - was, field

    def with_change(self, change: Floats, digits: int | None = None) -> Recipe:
        """The recipe with the weights changed, rounded to `digits` where given; new cells come last."""
        cells = {cell.key: cell for cell in self.recipe.cells}
        for i in np.flatnonzero(change):
            key, weight = self.given.keys[i], float(self.given.start[i] + change[i])
            cells[key] = Cell(key[0], key[1], weight if digits is None else round(weight, digits), key[2])
        return self.recipe.with_(cells=tuple(cells.values()))

    def holds(self, change: Floats) -> bool:
        """Whether the skin holds where the weights change by `change` (k,)."""
        return Way(self, change, self.seams).strain(1.0) <= RISE

    def furthest(self, change: Floats, at_least: float = 0.0) -> float:
        """The largest fraction of `change` (k,), up to 1, at which the skin holds, to within NEAR and among the places
        looked at, judged on some of the seams: the end first, then where the strain would reach its limit if it grew
        evenly, or half way where a face turns over. Where it does not hold even at the fraction `at_least`, 0 is enough
        to know."""
        way, good, bad, strain_good = Way(self, change, self.some_seams), 0.0, 1.0, 0.0
        place = 1.0
        for _ in range(LOOKS):
            strain = way.strain(place)
            if strain <= RISE:
                good, strain_good = place, max(strain, 0.0)
                if place == 1.0 or strain > STRAINED * RISE:
                    break
            else:
                bad, strain_bad = place, strain
                if bad <= at_least:
                    break
            if bad - good < NEAR:
                break
            share = (RISE - strain_good) / (strain_bad - strain_good) if np.isfinite(strain_bad) else 0.5
            place = max(good + min(max(share, 0.2), 0.8) * (bad - good), min(at_least, 0.5 * (good + bad)))
        return good

    def straight(self, change: Floats) -> bool:
        """Whether the pose is linear in the fraction of `change` (k,)."""
        return all(
            len(self._motion(i)[1]) == 1 and not self.mixer.correctives.triggered_by(self.given.keys[i])
            for i in np.flatnonzero(change).tolist()
        )

    def _motion(self, i: int) -> _Motion:
        """The amounts of a candidate's motion by weight, and what each of its fields moves at the vertices of the
        patch (m, 3), its share, the strength and the join included."""
        key, given = self.given.keys[i], self.given
        if key not in self._motions:
            move, at = self.mixer.motion(Cell(*key[:2], 1.0, key[2])), given.patch.vertices
            if len(move.fields) == 1:
                fields = [given.u[i]]
            else:
                share = self.recipe.strength * self.shares[key[0]]
                fields = [self.mixer.standing.masked_at(at, each, share).astype(np.float32) for each in move.fields]
            if self.joined is not None and self.joined.takes_part(key[0]):
                fields = [field.copy() for field in fields]
                for field, further in zip(fields, self.joined.of(key), strict=True):
                    field[self._join_to] += (self.recipe.strength * further[self._join_at]).astype(np.float32)
            self._motions[key] = (move.amounts, fields)
        return self._motions[key]

    def _correct(self, total: Singles, change: Floats, vertices: NDArray[np.int64]) -> None:
        """Add to `total` (p, 3) mm at `vertices` (p,) what correctives do that are triggered by cells that change."""
        correctives = self.mixer.correctives
        if not any(correctives.triggered_by(self.given.keys[i]) for i in np.flatnonzero(change)):
            return
        after = correctives.amounts(felt_in(self.with_change(change)))
        before = correctives.amounts(felt_in(self.recipe))
        for name in after.keys() | before.keys():
            amount = self.recipe.strength * (after.get(name, 0.0) - before.get(name, 0.0))
            if amount != 0.0:
                total += amount * self.mixer.head.shape(name).delta[vertices]

    @cached_property
    def alone(self) -> dict[tuple[str, float, bool], Floats]:
        """(m, 3) mm, what each cell's shape does alone and everywhere at its weight."""
        found: dict[tuple[str, float, bool], Floats] = {}
        for cell in self.recipe.cells:
            weight = cell.weight * self.recipe.amount(cell.region)
            if weight != 0.0 and (cell.shape, weight, cell.mirrored) not in found:
                move = self.mixer.motion(cell)
                total = np.zeros(self.given.patch.positions.shape)
                for amount, field in zip(move.amounts(weight), move.fields, strict=True):
                    if amount != 0.0:
                        total += amount * np.take(field, self.given.patch.vertices, axis=0)
                found[cell.shape, weight, cell.mirrored] = self.recipe.strength * total
        return found
