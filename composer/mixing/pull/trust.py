"""How far along a change of weights the skin holds: no face turns over, and no seam strains much beyond the shapes.

Both are judged on the pose itself, with in-betweens, hinges and correctives as they are. The envelope of an edge's
stretch is what the shapes alone, each at its weight, do to it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.mixing.corrective import felt_in
from composer.mixing.linear import Mixer
from composer.mixing.pull.movements import Movements
from composer.mixing.pull.skin import TURNED
from composer.mixing.recipe import Cell, CellKey, Recipe

Floats = NDArray[np.float64]
RISE = 0.35
"""How much the strain of an edge on a seam may rise beyond the shapes' own at the 99th percentile, no unit. Chosen on
two libraries, where pulls that tear show 0.5 and more."""
SEAM_STEP = 1e-3
"""A seam runs along edges on which some share changes by more than this. A design choice, no source."""
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
        joined: Callable[[Recipe], Floats] | None = None,
    ) -> None:  # fmt: skip
        """`shares` (n,) are of all rows that may get cells. `joined`, for a recipe that joins otherwise than linearly,
        gives (m, 3) mm at the vertices of the patch: the displacement of a recipe minus that of the linear join."""
        self.mixer, self.recipe, self.shares, self.given, self.joined = mixer, recipe, shares, given, joined
        self._motions: dict[CellKey, tuple[Callable[[float], Sequence[float]], list[NDArray]]] = {}
        patch = given.patch
        self._seams: dict[str, NDArray[np.bool_]] = {}
        self.displacement = mixer.displacement(recipe)[patch.vertices]
        self._joined_before = joined(recipe) if joined is not None else np.zeros_like(self.displacement)
        self.displacement = self.displacement + self._joined_before
        self.places = patch.positions + self.displacement
        self.turn_before = patch.turn(self.places)

    def moved(self, change: Floats, at: NDArray[np.int64] | None = None) -> Floats:
        """(m, 3) mm, how the pose moves where the weights change by `change` (k,), exactly; with `at`, (p, 3) mm at
        these vertices (p,) of the patch."""
        given, chosen = self.given, slice(None) if at is None else at
        vertices = given.patch.vertices[chosen]
        total = np.zeros((len(vertices), 3))
        for i in np.flatnonzero(change):
            amounts, fields = self._motion(given.keys[i])
            if len(fields) == 1:
                total += float(change[i]) * given.u[i, chosen]
                continue
            now, before = amounts(given.start[i] + float(change[i])), amounts(given.start[i])
            share = (self.recipe.strength * self.shares[given.keys[i][0]][vertices])[:, None]
            for after, was, field in zip(now, before, fields, strict=True):
                if after != was:
                    total += (after - was) * share * field[chosen]
        self._correct(total, change, vertices)
        if self.joined is not None:
            total += (self.joined(self.with_change(change)) - self._joined_before)[chosen]
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
        return Way(self, change).holds(1.0)

    def furthest(self, change: Floats) -> float:
        """The largest fraction of `change` (k,), up to 1, at which the skin holds, among the places looked at."""
        way, good, bad = Way(self, change), 0.0, 0.0
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

    def shape_alone(self, i: int, weight: float, edges: NDArray[np.int64]) -> Floats:
        """(e, 3) mm, edges (e, 2) of the patch as vectors where the shape of candidate i acts alone and everywhere."""
        amounts, fields = self._motion(self.given.keys[i])
        rest = self.given.patch.positions
        way = rest[edges[:, 1]] - rest[edges[:, 0]]
        for amount, field in zip(amounts(weight), fields, strict=True):
            if amount != 0.0:
                way = way + amount * self.recipe.strength * (field[edges[:, 1]] - field[edges[:, 0]])
        return way

    def straight(self, change: Floats) -> bool:
        """Whether the pose is linear in the fraction of `change` (k,)."""
        keys = [self.given.keys[i] for i in np.flatnonzero(change)]
        return self.joined is None and all(
            len(self._motion(key)[1]) == 1 and not self.mixer.correctives.triggered_by(key) for key in keys
        )

    def _motion(self, key: CellKey) -> tuple[Callable[[float], Sequence[float]], list[NDArray]]:
        """The amounts of a cell's motion by weight, and its fields at the vertices of the patch."""
        if key not in self._motions:
            move = self.mixer.motion(Cell(*key[:2], 1.0, key[2]))
            self._motions[key] = (move.amounts, [field[self.given.patch.vertices] for field in move.fields])
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
                total = np.zeros(self.places.shape)
                for amount, field in zip(move.amounts(weight), move.fields, strict=True):
                    if amount != 0.0:
                        total += amount * field[self.given.patch.vertices]
                found[cell.shape, weight, cell.mirrored] = self.recipe.strength * total
        return found

    @cached_property
    def envelope(self) -> tuple[Floats, Floats]:
        """(e,) the largest and the least stretch of each edge at rest and by each shape of the recipe alone."""
        patch = self.given.patch
        top, bottom = np.ones(len(patch.edges)), np.ones(len(patch.edges))
        for alone in self.alone.values():
            stretch = patch.stretch(patch.positions + alone)
            np.maximum(top, stretch, out=top)
            np.minimum(bottom, stretch, out=bottom)
        return top, bottom

    @cached_property
    def strained_before(self) -> Floats:
        """(e,) how far each edge is strained beyond the envelope at the press."""
        return beyond(self.given.patch.stretch(self.places), *self.envelope)

    @cached_property
    def least_turn(self) -> Floats:
        """(f,) the cosine of each face to itself at rest below which it counts as turned over by the pull: TURNED, or 0
        where it is that near to its edge already."""
        return np.where(self.turn_before > 2.0 * TURNED, TURNED, 0.0)

    @cached_property
    def slack(self) -> Floats:
        """(f,) mm by which the corners of a face may move against each other before it is worth a look."""
        return SAFE * self.given.patch.height(self.places) * np.clip(self.turn_before, 0.0, 1.0)

    def seam_edges(self, region: str) -> NDArray[np.bool_]:
        """(e,) whether the share of a row changes along each edge of the patch."""
        if region not in self._seams:
            ends = self.given.patch.vertices[self.given.patch.edges]
            share = self.shares[region]
            self._seams[region] = np.abs(share[ends[:, 1]] - share[ends[:, 0]]) > SEAM_STEP
        return self._seams[region]


class Way:
    """One change of weights, looked at at several fractions of it."""

    def __init__(self, trust: Trust, change: Floats) -> None:
        """`change` (k,)."""
        self.trust, self.change = trust, change
        patch, given = trust.given.patch, trust.given
        self._straight = trust.straight(change)
        self._moved = trust.moved(change)
        reach = given.at_point @ change
        size = np.einsum("ij,ij->i", self._moved, self._moved)
        far = size > max(MOVED**2 * float(reach @ reach), SAME_MM**2)
        on = np.flatnonzero(change)
        used = dict.fromkeys([*trust.recipe.regions, *(given.keys[i][0] for i in on)])
        seam = np.logical_or.reduce([trust.seam_edges(region) for region in used])
        self._seams = np.flatnonzero(seam & far[patch.edges].any(axis=1))
        self._faces = self._worth_a_look()

    def holds(self, share: float) -> bool:
        """Whether the skin holds at a fraction of the change: no face turned over, no seam strained beyond RISE."""
        moved = share * self._moved if self._straight else self.trust.moved(share * self.change)
        pose = self.trust.places + moved
        return not self._turns(pose) and self._strain(pose, share) <= RISE

    def _worth_a_look(self) -> NDArray[np.int64]:
        """The faces whose corners move against each other far enough to turn, and that are not turned over already."""
        patch = self.trust.given.patch
        first = self._moved[patch.corners[:, 0]]
        apart = np.zeros(len(patch.corners))
        for i in range(1, patch.corners.shape[1]):
            way = self._moved[patch.corners[:, i]] - first
            np.maximum(apart, np.einsum("ij,ij->i", way, way), out=apart)
        reach = 1.0 if self._straight else BENT
        return np.flatnonzero((reach * np.sqrt(apart) > self.trust.slack) & (self.trust.turn_before >= 0.0))

    def _turns(self, pose: Floats) -> bool:
        """Whether a face turns over that no shape of the recipe turns alone."""
        patch, faces = self.trust.given.patch, self._faces
        faces = faces[patch.turn(pose, faces) < self.trust.least_turn[faces]]
        for alone in self.trust.alone.values() if len(faces) else ():
            faces = faces[patch.turn(patch.positions + alone, faces) >= 0.0]
        return bool(len(faces))

    def _strain(self, pose: Floats, share: float) -> float:
        """The 99th percentile of the rise in strain beyond the envelope, on the seams in use that move."""
        patch, seams, trust = self.trust.given.patch, self._seams, self.trust
        if not len(seams):
            return 0.0
        top, bottom = (each[seams] for each in trust.envelope)
        for i, straight, bent in self._shapes_alone:
            weight = trust.given.start[i] + share * float(self.change[i])
            if straight is None:
                straight, bent = trust.shape_alone(i, weight, patch.edges[seams]), 0.0
            way = straight + share * bent
            alone = np.sqrt(np.einsum("ij,ij->i", way, way)) / patch.length[seams]
            np.maximum(top, alone, out=top)
            np.minimum(bottom, alone, out=bottom)
        rise = beyond(patch.stretch(pose, seams), top, bottom) - trust.strained_before[seams]
        return float(np.quantile(rise, 0.99))

    @cached_property
    def _shapes_alone(self) -> list[tuple[int, Floats | None, Floats | float]]:
        """The cells that change enough to count, each with the edge vectors (e, 3) of its shape alone before the pull
        and their whole change; None for shapes that do not move in a straight line."""
        trust, edges = self.trust, self.trust.given.patch.edges[self._seams]
        found: list[tuple[int, Floats | None, Floats | float]] = []
        for i in np.flatnonzero(np.abs(self.change) > ALONE).tolist():
            if not self._straight:
                found.append((i, None, 0.0))
                continue
            start = float(trust.given.start[i])
            before = trust.shape_alone(i, start, edges)
            found.append((i, before, trust.shape_alone(i, start + float(self.change[i]), edges) - before))
        return found


def beyond(stretch: Floats, top: Floats, bottom: Floats) -> Floats:
    """(e,) how far stretches lie beyond their envelope, as a ratio above 1; 0 within it."""
    return np.maximum(np.maximum(stretch / top, bottom / np.maximum(stretch, 1e-3)) - 1.0, 0.0)
