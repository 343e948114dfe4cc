"""One change of weights, and how the skin strains at fractions of it.

Only the faces that may turn over and the seams that move are looked at, so that a look costs little however large the
head is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.geometry.vectors import cosine
from composer.mixing.pull.seams import Seams
from composer.mixing.pull.skin import vector_areas
from composer.mixing.recipe import Cell

if TYPE_CHECKING:
    from composer.mixing.pull.trust import Trust

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
MOVED = 0.05
"""Strain counts where a place moves by more than this fraction of the point. A design choice, no source."""
SAME_MM = 1e-4
"""Movement below this counts as none, mm."""
BENT = 4.0
"""Movement that is not straight counts so many times where faces are chosen to be looked at. A design choice, no
source."""
ALONE = 0.02
"""A new cell's shape counts for the envelope from this weight on. A design choice, no source."""


class Way:
    """One change of weights, looked at at several fractions of it."""

    def __init__(self, trust: Trust, change: Floats, seams: Seams) -> None:
        """`change` (k,); strain is judged on `seams`."""
        self.trust, self.change, self.seams = trust, change, seams
        given = trust.given
        self._straight = trust.straight(change)
        moved = trust.moved(change)
        far = np.sqrt(np.einsum("ij,ij->i", moved, moved))
        reach = given.at_point @ change
        self._faces = self._worth_a_look(moved, far)
        on = [given.keys[i][0] for i in np.flatnonzero(change).tolist()]
        seam = seams.of_rows([*trust.recipe.regions, *on])
        least_mm = max(MOVED * float(np.sqrt(reach @ reach)), SAME_MM)
        self._edges = seam.edges[np.maximum(np.take(far, seam.one), np.take(far, seam.other)) > least_mm]
        self._envelope = seams.envelope(self._edges)
        corners, ends = given.patch.corners[self._faces], seams.ends[self._edges]
        place = np.zeros(len(moved), dtype=np.int64)
        place[corners] = 1
        place[ends] = 1
        self._at = np.flatnonzero(place)
        place[self._at] = np.arange(len(self._at))
        self._corners, self._ends = place[corners], place[ends]
        self._before, self._moved = trust.places[self._at], moved[self._at]
        self._moved_at = trust.moved_at(self._at)
        self._alone = [(i, *self._shape(i)) for i in np.flatnonzero(np.abs(change) > ALONE).tolist()]

    def strain(self, share: float) -> float:
        """How much the seams strain beyond their envelope at a fraction of the change (`Seams.rise`); infinite where a
        face turns over that no shape of the recipe turns alone."""
        trust = self.trust
        moved = share * self._moved if self._straight else self._moved_at(share * self.change)
        pose = self._before + moved
        if self._turns(pose):
            return float("inf")
        strength, rest = trust.recipe.strength, self.seams.rest[self._edges]
        alone = []
        for i, amounts, ways in self._alone:
            shape = rest
            for amount, way in zip(amounts(float(trust.given.start[i] + share * self.change[i])), ways, strict=True):
                if amount != 0.0:
                    shape = shape + amount * strength * way
            alone.append(shape)
        ends = self._ends
        way = np.take(pose, ends[:, 1], axis=0) - np.take(pose, ends[:, 0], axis=0)
        return self._envelope.rise(way, alone)

    def _worth_a_look(self, moved: Singles, far: Singles) -> NDArray[np.int64]:
        """The faces whose corners move against each other far enough to turn, and that are not turned over already.
        `far` (m,) mm is how far each vertex moves: two move against each other by twice the largest at most."""
        trust = self.trust
        reach, columns = 1.0 if self._straight else BENT, trust.given.patch.columns
        most = np.take(far, columns[0])
        for column in columns[1:]:
            np.maximum(most, np.take(far, column), out=most)
        faces = np.flatnonzero((2.0 * reach * most > trust.slack) & trust.upright)
        first = np.take(moved, columns[0][faces], axis=0)
        apart = np.zeros(len(faces), dtype=np.float32)
        for column in columns[1:]:
            way = np.take(moved, column[faces], axis=0)
            way -= first
            np.maximum(apart, np.einsum("ij,ij->i", way, way), out=apart)
        return np.asarray(faces[reach * np.sqrt(apart) > trust.slack[faces]])

    def _shape(self, i: int) -> tuple[Callable[[float], Sequence[float]], list[NDArray]]:
        """The amounts of a cell's motion by weight, and its fields along the seams that count."""
        key = self.trust.given.keys[i]
        move = self.trust.mixer.motion(Cell(*key[:2], 1.0, key[2]))
        return move.amounts, [self.seams.along(field, self._edges) for field in move.fields]

    def _turns(self, pose: Floats) -> bool:
        """Whether a face turns over, in a pose of the vertices looked at, that no shape of the recipe turns alone."""
        trust, faces = self.trust, self._faces
        if not len(faces):
            return False
        patch = trust.given.patch
        faces = faces[cosine(patch.rest[faces], vector_areas(pose, self._corners)) < trust.least_turn[faces]]
        for alone in trust.alone.values() if len(faces) else ():
            faces = faces[patch.turn(patch.positions + alone, faces) >= 0.0]
        return bool(len(faces))
