"""A seamless join while it is being dragged: what it adds to the linear join follows the weights, cell by cell.

What a join adds is linear in the rows, and depends on each row's own share alone (`composer.mixing.seamless`). So a
cell whose weight changes adds the change of its amounts times its *responses*: what the join makes of the cell's
fields, solved once. A row whose share changes, by its amount or another row's kind, is solved anew by itself. Sums are
kept in float64; a drag ends in one fresh evaluation.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import NDArray

from composer.mixing.linear import Mixer
from composer.mixing.recipe import ALL, Cell, CellKey, Recipe
from composer.mixing.seamless import SeamlessJoin, further_than_linear, rows_at

Floats = NDArray[np.float64]


class JoinResponses:
    """What a join adds for one unit of each field of a cell, at given shares of the rows."""

    def __init__(self, mixer: Mixer, join: SeamlessJoin, shares: Mapping[str, NDArray]) -> None:
        """`shares` (n,) are of all rows whose cells are asked for."""
        self.mixer, self.join = mixer, join
        self.shares = {region: share[join.near] for region, share in shares.items() if self.takes_part(region)}
        self._known: dict[CellKey, list[Floats]] = {}

    def takes_part(self, region: str) -> bool:
        """Whether the join was made for a region; others join linearly."""
        return bool(len(self.join.zone.free)) and (region == ALL or region in self.join.ramps)

    def of(self, key: CellKey) -> list[Floats]:
        """For each field of a cell's motion (f, 3) mm at the vertices `join.zone.free`: what the join adds at 1."""
        if key not in self._known:
            fields = self.mixer.motion(Cell(*key[:2], 1.0, key[2])).fields
            share, near = {key[0]: self.shares[key[0]]}, self.join.near
            self._known[key] = [self.join.solve(share, {key[0]: field[near].astype(np.float64)}) for field in fields]
        return self._known[key]

    def keep(self, others: JoinResponses, but: Collection[str]) -> None:
        """Take over what is known of cells that move as they did, of all regions `but` some."""
        self._known = {
            key: one for key, one in others._known.items()
            if key[0] not in but and moves_alike(self.mixer, others.mixer, key[1])
        }  # fmt: skip


def moves_alike(one: Mixer, other: Mixer, shape: str) -> bool:
    """Whether two mixers have the very same head and motion of a shape."""
    cell = Cell(ALL, shape, 1.0)
    return one.head is other.head and one.mirror is other.mirror and one.motion(cell) is other.motion(cell)


class LiveJoin:
    """What the seamless join adds to the linear one for a recipe that is edited step by step."""

    def __init__(self, mixer: Mixer, join: SeamlessJoin, recipe: Recipe) -> None:
        """A join, and the recipe to begin at. Raises MoueError as `further_than_linear`."""
        self.mixer, self.join, self.recipe = mixer, join, recipe
        self._responses = JoinResponses(mixer, join, mixer.shares(recipe))
        self._unit = further_than_linear(mixer, join, recipe, 1.0)

    @property
    def further(self) -> Floats:
        """(f, 3) mm at the vertices `join.zone.free`: what the join adds for the recipe."""
        return self._unit * self.recipe.strength

    def covers(self, recipe: Recipe, apart: Collection[str]) -> bool:
        """Whether the join was made for all regions of a recipe but those `apart`, with its halo."""
        return recipe.halo == self.join.halo and all(
            region == ALL or region in apart or region in self.join.ramps for region in recipe.regions
        )

    def fits(self, mixer: Mixer) -> bool:
        """Whether the shapes of the recipe move by another mixer as they did."""
        return mixer is self.mixer or all(moves_alike(mixer, self.mixer, cell.shape) for cell in self.recipe.cells)

    def changes(self, recipe: Recipe) -> int:
        """How many cells of a recipe differ from those that the join stands at."""
        known = {cell.key: cell.weight for cell in self.recipe.cells}
        wanted = {cell.key: cell.weight for cell in recipe.cells}
        return sum(known.get(key, 0.0) != wanted.get(key, 0.0) for key in known.keys() | wanted.keys())

    def follow(self, mixer: Mixer, recipe: Recipe) -> Floats:
        """(f, 3) mm at the vertices `join.zone.free`: what the join adds for another recipe, in which weights, rows or
        the strength have changed, by a mixer that `fits`. Raises MoueError as `Mixer` and as `SeamlessJoin.solve`."""
        before, settled = self.recipe, set[str]()
        if recipe.rows != before.rows or set(recipe.regions) != set(before.regions) or mixer is not self.mixer:
            settled = self._shared_anew(mixer, recipe)
        known = {cell.key: cell.weight for cell in before.cells}
        wanted = {cell.key: cell.weight for cell in recipe.cells}
        for key in known.keys() | wanted.keys():
            was, now = known.get(key, 0.0), wanted.get(key, 0.0)
            if was != now and key[0] not in settled and self._responses.takes_part(key[0]):
                self._add(key, was, now)
        self.recipe = recipe
        return self.further

    def _add(self, key: CellKey, was: float, now: float) -> None:
        amounts = self.mixer.motion(Cell(*key[:2], 1.0, key[2])).amounts
        for before, after, response in zip(amounts(was), amounts(now), self._responses.of(key), strict=True):
            if before != after:
                self._unit += (after - before) * response

    def _shared_anew(self, mixer: Mixer, recipe: Recipe) -> set[str]:
        """Take the shares of the rows of a recipe; the regions whose share has changed, solved for its cells."""
        fresh = JoinResponses(mixer, self.join, mixer.shares(recipe))
        old, new, changed, unit = self._responses.shares, fresh.shares, set(), self._unit.copy()
        for region in old.keys() | new.keys():
            same = region in old and region in new and np.array_equal(old[region], new[region])
            if not same:
                changed.add(region)
                unit -= self._row(self.mixer, self.recipe, region, old)
                unit += self._row(mixer, recipe, region, new)
        fresh.keep(self._responses, changed)
        self.mixer, self._responses, self._unit = mixer, fresh, unit
        return changed

    def _row(self, mixer: Mixer, recipe: Recipe, region: str, shares: Mapping[str, NDArray]) -> Floats | float:
        """(f, 3) mm, what the join adds for one row of a recipe; 0 for a row without cells."""
        cells = tuple(cell for cell in recipe.cells if cell.region == region and cell.weight != 0.0)
        if not cells or region not in shares:
            return 0.0
        rows = rows_at(mixer, recipe.with_(cells=cells), self.join.near)
        return self.join.solve({region: shares[region]}, rows)
