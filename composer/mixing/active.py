"""A pose while it is being dragged: one cell changes, and only the vertices that it reaches are touched.

For each active cell (one with a weight) a `LivePose` keeps its columns: the vertices that the cell reaches and
share times field there, in float32. A change of weight adds the change of each column's amount. Sums are kept in
float64, so that a hundred thousand small edits stay within rounding of one fresh evaluation. `rebase`, which ends a
drag, is one fresh evaluation, bit for bit. Columns depend on masks and rows, never on weights. A change of a row
recomputes the columns of its region, and those of the base row where a row starts or stops replacing. Correctives are
columns like any other, under keys of their own; their weights follow from the cells that trigger them.

`positions` (n, 3) float32 is what a view draws. Every change returns the range of vertices that it touched, so
that only those are sent to the graphics card. With `deferred` the sums wait until `positions` is read: the graphics
card then computes the pose itself from `columns`, `weights` and the strength.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from composer.mixing.columns import NOTHING, Column, Range, Stack, column, widened
from composer.mixing.contact import MixContact
from composer.mixing.contact_live import LiveContact
from composer.mixing.corrective import Felt, felt_in
from composer.mixing.linear import Mixer, moved
from composer.mixing.recipe import ALL, Cell, CellKey, Recipe, Row

Shares = dict[str, NDArray[np.float64]]
CORRECTIVE = "*"
"""Stands for the region in the keys of correctives' columns; a region cannot have this name."""


class LivePose:
    """One recipe on one head, edited cell by cell."""

    def __init__(self, mixer: Mixer, recipe: Recipe) -> None:
        """Take a prepared mixer and the first recipe. Raises the errors of `Mixer` for the recipe."""
        self._mixer = mixer
        self._given = recipe
        self._cells: dict[CellKey, Cell] = {cell.key: cell for cell in recipe.cells}
        self._share = mixer.shares(recipe)
        self._fixes = self._fixes_of(felt_in(recipe))
        self._columns = self._columns_for(recipe.cells, self._share, self._with_fixes({}, self._fixes))
        self._stacked: Stack | None = None
        self.deferred, self._stale = False, False
        self._moved = np.zeros(mixer.head.neutral.shape)
        self._contact: LiveContact | None = None
        self._neutral32 = mixer.head.neutral.astype(np.float32)
        self._positions = np.empty(mixer.head.neutral.shape, dtype=np.float32)
        self.rebase()

    @property
    def recipe(self) -> Recipe:
        """The current recipe; cells keep their order, new ones come last."""
        return self._given.with_(cells=tuple(self._cells.values()))

    @property
    def positions(self) -> NDArray[np.float32]:
        """(n, 3) float32 mm, the pose to draw: a read-only view of what every edit changes in place."""
        if self._stale:
            self._sum()
        view = self._positions.view()
        view.setflags(write=False)
        return view

    @property
    def moved(self) -> NDArray[np.float64]:
        """(n, 3) mm, P - N before anything is parted."""
        if self._stale:
            self._sum()
        return self._moved

    @property
    def columns(self) -> Mapping[CellKey, Column]:
        """The columns held, by cell: of every cell that has a weight, of prepared cells and of correctives."""
        return MappingProxyType(self._columns)

    @property
    def weights(self) -> dict[CellKey, float]:
        """The weight of each cell that has one, and the amount of each active corrective."""
        return {key: cell.weight for key, cell in self._cells.items() if cell.weight != 0.0} | self._fixes

    @property
    def bytes_held(self) -> int:
        """Bytes of the columns held, and of their stack if there is one."""
        stacked = 0 if self._stacked is None else self._stacked.nbytes
        return stacked + sum(one.nbytes for one in self._columns.values())

    @property
    def bytes_summed(self) -> int:
        """Bytes that `displacement32` reads: the values of the columns and their indices."""
        return self._stacking().nbytes

    def set_weight(self, region: str, shape: str, weight: float, mirrored: bool = False) -> Range:
        """Set the weight of one cell, adding the cell if needed. Returns the range of vertices touched.

        Raises MoueError, with nothing changed, for a weight outside [-1, 2] or an unknown region or shape.
        """
        (cell,) = Recipe(self._given.name, (Cell(region, shape, float(weight), mirrored),)).cells
        held = self._columns.get(cell.key)
        if held is None:
            held = self.prepare(region, shape, mirrored)
        before, after, strength = held.amounts(self._weight(cell.key)), held.amounts(cell.weight), self._given.strength
        self._cells[cell.key] = cell
        touched = self._add(held, [strength * (b - a) for a, b in zip(before, after, strict=True)])
        if self._mixer.correctives.triggered_by(cell.key):
            touched = self._follow_fixes(touched)
        return touched if self.deferred else widened(touched, self._part(dragged=True))

    def set_row(self, region: str, row: Row) -> Range:
        """Change how a region's row joins and recompute the columns affected. Returns the range touched."""
        return self.set_recipe(self.recipe.with_(rows={**self._given.rows, region: row}))

    def set_strength(self, strength: float) -> Range:
        """Change the recipe's strength. Returns the range of vertices touched."""
        return self.set_recipe(self.recipe.with_(strength=float(strength)))

    def set_recipe(self, recipe: Recipe) -> Range:
        """Switch to another recipe, keeping the columns that both share. Returns the range touched.

        Raises the errors of `Mixer` for the recipe, with nothing changed.
        """
        cells = {cell.key: cell for cell in recipe.cells}
        weighted = {key for key, cell in cells.items() if cell.weight != 0.0}
        fixes = self._fixes_of(felt_in(recipe))
        if recipe.rows != self._given.rows or not weighted <= self._columns.keys():
            share = self._mixer.shares(recipe)
            unchanged_regions = {r for r in share if r in self._share and np.array_equal(share[r], self._share[r])}
            kept = {key: one for key, one in self._columns.items()
                    if (key in cells and key[0] in unchanged_regions) or key in fixes}  # fmt: skip
            columns = self._columns_for(recipe.cells, share, kept)
            self._share, self._columns, self._stacked = share, columns, None
        self._given, self._cells = recipe, cells
        self._set_fixes(fixes)
        if self.deferred:
            self._stale = True
        else:
            self._sum()
        return (0, len(self._positions))

    @property
    def contact(self) -> LiveContact | None:
        """What parts the positions of a recipe that keeps contact; None where that is not at hand, and where it has
        nothing to part in a drag."""
        return self._contact if self._contact is not None and self._contact.follows else None

    def keep_contact(self, contact: MixContact | None) -> Range:
        """Part what goes through in linear recipes that keep contact, where it is given; a seamless join is parted
        where it is made. Returns the range touched."""
        if contact is None or (self._contact is not None and contact is self._contact.contact):
            return NOTHING
        self._contact = LiveContact(contact) if self._contact is None else self._contact.by(contact)
        return NOTHING if self._stale else self._part()

    def rebase(self) -> NDArray[np.float64]:
        """(n, 3) float64 mm, one fresh evaluation of the current recipe without contact; later edits add to it."""
        self._moved, self._stale = self._mixer.displacement(self.recipe), False
        fresh = moved(self._mixer.head.neutral, self._moved)
        self._positions[:] = fresh
        self._part()
        return fresh

    def prepare(self, region: str, shape: str, mirrored: bool = False) -> Column:
        """Compute a cell's columns before a drag, so that its first step costs no more than the others.

        Raises MoueError for an unknown region or shape, or a mirrored cell on a head without a mirror map.
        """
        cell = Cell(region, shape, 0.0, mirrored)
        if cell.key not in self._columns:
            share = self._share
            if region not in share:
                share = self._mixer.shares(self.recipe.with_(cells=(*self._cells.values(), cell)))
            self._columns[cell.key] = column(self._mixer.motion(cell), share[cell.region], self._mixer.standing)
            self._share, self._stacked = share, None
        return self._columns[cell.key]

    def release(self) -> None:
        """Forget the columns of cells that have no weight."""
        used = self.weights
        self._columns = {key: one for key, one in self._columns.items() if key in used}
        self._stacked = None

    def displacement32(self) -> NDArray[np.float32]:
        """(n, 3) float32 mm, P - N, all columns summed at once."""
        return self._stacking().total(self._weight) * np.float32(self._given.strength)

    def _weight(self, key: CellKey) -> float:
        return self._cells[key].weight if key in self._cells else self._fixes.get(key, 0.0)

    def _felt(self, key: CellKey) -> float:
        return self._cells[key].weight * self._given.row(key[0]).amount if key in self._cells else 0.0

    def _fixes_of(self, felt: Felt) -> dict[CellKey, float]:
        """The amount of each active corrective, by the key of its column."""
        amounts = self._mixer.correctives.amounts(felt)
        return {(CORRECTIVE, name, False): amount for name, amount in amounts.items()}

    def _follow_fixes(self, touched: Range) -> Range:
        """Update the correctives to the weights of the cells. Returns `touched`, widened by what they reach."""
        before = self._fixes
        self._set_fixes(self._fixes_of(self._felt))
        for key in before.keys() | self._fixes.keys():
            change = self._given.strength * (self._fixes.get(key, 0.0) - before.get(key, 0.0))
            touched = widened(touched, self._add(self._columns[key], [change]))
        return touched

    def _set_fixes(self, fixes: dict[CellKey, float]) -> None:
        if not fixes.keys() <= self._columns.keys():
            self._columns, self._stacked = self._with_fixes(self._columns, fixes), None
        self._fixes = fixes

    def _with_fixes(self, columns: dict[CellKey, Column], fixes: Iterable[CellKey]) -> dict[CellKey, Column]:
        """`columns` and those of the correctives `fixes`, which act everywhere on the head."""
        everywhere = np.ones(len(self._mixer.head.neutral))
        mixer = self._mixer
        added = {key: column(mixer.motion(Cell(ALL, key[1], 1.0)), everywhere, mixer.standing) for key in fixes
                if key not in columns}  # fmt: skip
        return {**columns, **added}

    def _columns_for(self, cells: Iterable[Cell], share: Shares, kept: dict[CellKey, Column]) -> dict[CellKey, Column]:
        """Columns of every cell that has a weight, by key; those in `kept` are reused."""
        columns = dict(kept)
        for cell in cells:
            if cell.weight != 0.0 and cell.key not in columns:
                columns[cell.key] = column(self._mixer.motion(cell), share[cell.region], self._mixer.standing)
        return columns

    def _add(self, column: Column, change: Sequence[float]) -> Range:
        """Add `change` (k,) times the column's fields, and update the positions it reaches."""
        if not any(change) or column.range == NOTHING:
            return NOTHING
        if self.deferred:
            self._stale = True
            return column.range
        step = np.multiply(column.fields[0], change[0], dtype=np.float64)
        for field, amount in zip(column.fields[1:], change[1:], strict=True):
            step += np.multiply(field, amount, dtype=np.float64)
        at, total, neutral = column.where, self._moved.reshape(-1), self._neutral32.reshape(-1)
        if isinstance(at, slice):
            total[at] += step
            np.add(neutral[at], total[at], out=self._positions.reshape(-1)[at], casting="same_kind")
        else:
            step += total.take(at)
            total[at] = step
            self._positions.reshape(-1)[at] = neutral.take(at) + step.astype(np.float32)
        return column.range

    def _sum(self) -> None:
        """Compute the positions from all columns at once."""
        self._moved[:] = self.displacement32()
        np.add(self._neutral32, self._moved, out=self._positions, casting="same_kind")
        self._stale = False
        self._part()

    def _part(self, dragged: bool = False) -> Range:
        """Part the positions, where the recipe keeps contact. Returns the range touched."""
        if self._contact is None or self._given.join != "linear":
            return NOTHING
        return self._contact.follow(self._moved, self._positions, self._mixer.head.neutral, self.recipe, dragged)

    def _stacking(self) -> Stack:
        if self._stacked is None:
            self._stacked = Stack(self._columns, len(self._positions))
        return self._stacked
