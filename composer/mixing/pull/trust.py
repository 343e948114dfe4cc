"""How far along a change of weights the skin holds: no face turns over, and no seam strains much beyond the shapes.

Both are judged on the pose itself, with in-betweens, hinges, correctives and a seamless join as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.mixing.corrective import felt_in
from composer.mixing.linear import Mixer
from composer.mixing.live_join import JoinResponses
from composer.mixing.pull.movements import Movements
from composer.mixing.pull.seams import Seams
from composer.mixing.pull.skin import TURNED
from composer.mixing.recipe import Cell, CellKey, Recipe

Floats = NDArray[np.float64]
RISE = 0.35
"""How much the strain of an edge on a seam may rise beyond the shapes' own at the 99th percentile, no unit. Chosen on
two libraries, where pulls that tear show 0.5 and more."""
MOVED = 0.05
"""Strain counts where a place moves by more than this fraction of the point. A design choice, no source."""
LOOKS = (1.0, 0.75, 0.5, 0.25)
"""Where along the way the pose is looked at, the end first. A design choice, no source."""
HALVINGS = 3
"""How often the last good and the first bad place are brought nearer. A design choice, no source."""
SAME_MM = 1e-4
"""Movement below this counts as none, mm."""
SAFE, BENT = 0.5, 4.0
"""A face is looked at where its corners move against each other by more than the first fraction of its height (times
the cosine to itself at rest); movement that is not straight counts so many times. Design choices, no source."""
ALONE = 0.02
"""A new cell's shape counts for the envelope from this weight on. A design choice, no source."""


class Trust:
    """One recipe at the press of a pull: its pose on the patch, and what its shapes do alone."""

    def __init__(
        self, mixer: Mixer, recipe: Recipe, shares: Mapping[str, NDArray], given: Movements,
        joined: JoinResponses | None = None, further: NDArray | None = None,
    ) -> None:  # fmt: skip
        """`shares` (n,) are of all rows that may get cells. For a recipe that joins seamlessly `joined` gives what the
        join adds to a cell's movement, and `further` (f, 3) mm what it adds to the recipe."""
        self.mixer, self.recipe, self.shares, self.given, self.joined = mixer, recipe, shares, given, joined
        self._motions: dict[CellKey, tuple[Callable[[float], Sequence[float]], list[NDArray]]] = {}
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
        self.slack = (SAFE * patch.height(self.places) * np.clip(self.turn_before, 0.0, 1.0)).astype(np.float32)
        """(f,) mm by which the corners of a face may move against each other before it is worth a look."""
        self.seams = Seams(patch, self.places, self.alone.values(), shares)
        self.some_seams = self.seams.some(dict.fromkeys([*recipe.regions, *(key[0] for key in given.keys)]))
        """The edges that are looked at while the length of a pull is searched for."""

    def moved(self, change: Floats, at: NDArray[np.int64] | None = None) -> Floats:
        """(m, 3) mm, how the pose moves where the weights change by `change` (k,), exactly; with `at`, (p, 3) mm at
        these vertices (p,) of the patch."""
        given, chosen = self.given, slice(None) if at is None else at
        vertices = given.patch.vertices[chosen]
        total = np.zeros((len(vertices), 3))
        for i in np.flatnonzero(change).tolist():
            amounts, fields = self._motion(i)
            start = float(given.start[i])
            now, before = amounts(start + float(change[i])), amounts(start)
            for after, was, field in zip(now, before, fields, strict=True):
                if after != was:
                    total += np.float32(after - was) * field[chosen]
        self._correct(total, change, vertices)
        return total

    def with_change(self, change: Floats, digits: int | None = None) -> Recipe:
        """The recipe with the weights changed, rounded to `digits` where given; new cells come last."""
        cells = {cell.key: cell for cell in self.recipe.cells}
        for i in np.flatnonzero(change):
            key, weight = self.given.keys[i], float(self.given.start[i] + change[i])
            cells[key] = Cell(key[0], key[1], weight if digits is None else round(weight, digits), key[2])
        return self.recipe.with_(cells=tuple(cells.values()))

    def holds(self, change: Floats) -> bool:
        """Whether the skin holds where the weights change by `change` (k,)."""
        return Way(self, change, self.seams).holds(1.0)

    def furthest(self, change: Floats) -> float:
        """The largest fraction of `change` (k,), up to 1, at which the skin holds, among the places looked at, judged
        on some of the seams."""
        way, good, bad = Way(self, change, self.some_seams), 0.0, 0.0
        for t in LOOKS:
            if way.holds(t):
                good = t
                break
            bad = t
        for _ in range(HALVINGS if bad else 0):
            middle = 0.5 * (good + bad)
            if way.holds(middle):
                good = middle
            else:
                bad = middle
        return good

    def straight(self, change: Floats) -> bool:
        """Whether the pose is linear in the fraction of `change` (k,)."""
        return all(
            len(self._motion(i)[1]) == 1 and not self.mixer.correctives.triggered_by(self.given.keys[i])
            for i in np.flatnonzero(change).tolist()
        )

    def _motion(self, i: int) -> tuple[Callable[[float], Sequence[float]], list[NDArray]]:
        """The amounts of a candidate's motion by weight, and what each of its fields moves at the vertices of the
        patch (m, 3), its share, the strength and the join included."""
        key, given = self.given.keys[i], self.given
        if key not in self._motions:
            move, at = self.mixer.motion(Cell(*key[:2], 1.0, key[2])), given.patch.vertices
            if len(move.fields) == 1:
                fields = [given.u[i]]
            else:
                share = (self.recipe.strength * self.shares[key[0]][at]).astype(np.float32)[:, None]
                fields = [np.take(field, at, axis=0).astype(np.float32) * share for field in move.fields]
            if self.joined is not None and self.joined.takes_part(key[0]):
                fields = [field.copy() for field in fields]
                for field, further in zip(fields, self.joined.of(key), strict=True):
                    field[self._join_to] += (self.recipe.strength * further[self._join_at]).astype(np.float32)
            self._motions[key] = (move.amounts, fields)
        return self._motions[key]

    def _correct(self, total: Floats, change: Floats, vertices: NDArray[np.int64]) -> None:
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


class Way:
    """One change of weights, looked at at several fractions of it."""

    def __init__(self, trust: Trust, change: Floats, seams: Seams) -> None:
        """`change` (k,); strain is judged on `seams`."""
        self.trust, self.change, self.seams = trust, change, seams
        given = trust.given
        self._straight = trust.straight(change)
        self._moved = trust.moved(change)
        reach = given.at_point @ change
        self._least = max(MOVED * float(np.sqrt(reach @ reach)), SAME_MM)
        self._faces = self._worth_a_look()
        self._edges = self._that_count()
        self._alone = [(int(i), *self._shape(int(i))) for i in np.flatnonzero(np.abs(change) > ALONE)]

    def holds(self, share: float) -> bool:
        """Whether the skin holds at a fraction of the change: no face turned over, no seam strained beyond RISE."""
        moved = share * self._moved if self._straight else self.trust.moved(share * self.change)
        pose = self.trust.places + moved
        if self._turns(pose):
            return False
        strength, rest = self.trust.recipe.strength, self.seams.rest[self._edges]
        alone = []
        for i, amounts, ways in self._alone:
            weight = float(self.trust.given.start[i]) + share * float(self.change[i])
            each = zip(amounts(weight), ways, strict=True)
            alone.append(sum((amount * strength * way for amount, way in each if amount != 0.0), start=rest))
        return self.seams.rise(pose, self._edges, alone) <= RISE

    def _that_count(self) -> NDArray[np.int64]:
        """The seams of rows in use that move."""
        used = dict.fromkeys([*self.trust.recipe.regions, *(self.trust.given.keys[i][0]
                              for i in np.flatnonzero(self.change))])  # fmt: skip
        edges = np.flatnonzero(self.seams.on_seam(used))
        far = np.einsum("ij,ij->i", self._moved, self._moved) > self._least**2
        ends = self.seams.ends[edges]
        return edges[far[ends[:, 0]] | far[ends[:, 1]]]

    def _shape(self, i: int) -> tuple[Callable[[float], Sequence[float]], list[NDArray]]:
        """The amounts of a cell's motion by weight, and its fields along the seams that count."""
        key = self.trust.given.keys[i]
        move = self.trust.mixer.motion(Cell(*key[:2], 1.0, key[2]))
        return move.amounts, [self.seams.along(field, self._edges) for field in move.fields]

    def _worth_a_look(self) -> NDArray[np.int64]:
        """The faces whose corners move against each other far enough to turn, and that are not turned over already."""
        trust = self.trust
        corners, moved = trust.given.patch.corners, self._moved.astype(np.float32)
        first = np.take(moved, corners[:, 0], axis=0)
        apart = np.zeros(len(corners), dtype=np.float32)
        for i in range(1, corners.shape[1]):
            way = np.take(moved, corners[:, i], axis=0)
            way -= first
            np.maximum(apart, np.einsum("ij,ij->i", way, way), out=apart)
        reach = 1.0 if self._straight else BENT
        return np.flatnonzero((reach * np.sqrt(apart) > trust.slack) & (trust.turn_before >= 0.0))

    def _turns(self, pose: Floats) -> bool:
        """Whether a face turns over that no shape of the recipe turns alone."""
        patch, faces = self.trust.given.patch, self._faces
        if len(faces):
            faces = faces[patch.turn(pose, faces) < self.trust.least_turn[faces]]
        for alone in self.trust.alone.values() if len(faces) else ():
            faces = faces[patch.turn(patch.positions + alone, faces) >= 0.0]
        return bool(len(faces))
