"""A recipe: a named list of cells (region, shape, weight), with how each region's row joins and a strength."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import Literal

from composer.errors import MoueError

ALL, REMAINDER = "all", "remainder"
WEIGHT_RANGE = (-1.0, 2.0)
HALO = 1.0 / 3.0
"""The default reach of a seamless join beside a ramp, as a fraction of the ramp's width. A design choice, no source."""
CellKey = tuple[str, str, bool]


@dataclass(frozen=True)
class Cell:
    """One entry of a recipe. `weight` in [-1, 2]; `mirrored` uses the shape's mirror image."""

    region: str
    shape: str
    weight: float
    mirrored: bool = False

    @property
    def key(self) -> CellKey:
        """What makes a cell unique inside its recipe."""
        return (self.region, self.shape, self.mirrored)


@dataclass(frozen=True)
class Row:
    """How a region's row joins: it adds to the base row or replaces it, by an amount in [0, 1] (0 mutes)."""

    kind: Literal["add", "replace"] = "add"
    amount: float = 1.0


@dataclass(frozen=True)
class Recipe:
    """Cells with unique keys, a `Row` for some regions (others add by 1), a strength and a join.

    The strength multiplies the displacement of the whole pose: it moves every vertex along a straight line, beyond
    the pose where it is above 1. It changes no weight, so hinges, in-betweens and correctives do not follow it; they
    follow `scaled`.
    Raises MoueError for two cells with one key, and for numbers that are not finite or out of range.

    `halo` in [0, 1] is how far a seamless join reaches beside a ramp, as a fraction of its width; 0 forbids it.
    With `contact` what goes through in the joined pose is parted (`composer.mixing.contact`).
    """

    name: str
    cells: tuple[Cell, ...] = ()
    rows: Mapping[str, Row] = field(default_factory=dict)
    strength: float = 1.0
    join: Literal["linear", "seamless"] = "linear"
    note: str = ""
    halo: float = HALO
    contact: bool = False

    def __post_init__(self) -> None:
        if not isfinite(self.strength):
            raise MoueError(f"recipe {self.name!r}: strength {self.strength} is no number", hint="1 is the full pose")
        keys = [cell.key for cell in self.cells]
        if len(set(keys)) < len(keys):
            twice = next(key for key in keys if keys.count(key) > 1)
            raise MoueError(f"recipe {self.name!r} has the cell {twice[0]} x {twice[1]} twice", hint="remove one")
        for cell in self.cells:
            if not WEIGHT_RANGE[0] <= cell.weight <= WEIGHT_RANGE[1]:
                raise MoueError(
                    f"recipe {self.name!r}: weight {cell.weight} of {cell.region} x {cell.shape} is not in [-1, 2]"
                )
        if not 0.0 <= self.halo <= 1.0:
            raise MoueError(f"recipe {self.name!r}: halo {self.halo} is not in [0, 1]", hint="0 forbids it")
        for region, row in self.rows.items():
            if row.kind not in ("add", "replace"):
                raise MoueError(f"recipe {self.name!r}: row {region!r} can add or replace, not {row.kind!r}")
            if region == ALL and row.kind == "replace":
                raise MoueError(f"recipe {self.name!r}: the base row 'all' cannot replace", hint="use a region")
            if not 0.0 <= row.amount <= 1.0:
                raise MoueError(f"recipe {self.name!r}: amount {row.amount} of row {region!r} is not in [0, 1]")

    def row(self, region: str) -> Row:
        """The row of a region; by default it adds by 1."""
        return self.rows.get(region, Row())

    def amount(self, region: str) -> float:
        """The amount in [0, 1] of a region's row, `all` included."""
        return self.row(region).amount

    def scaled(self, share: float) -> Recipe:
        """The recipe part of the way from the neutral: every weight times `share` in [0, 1], with the same strength.

        Hinges, in-betweens and correctives follow the scaled weights. A share of 1 gives the recipe itself. Raises
        MoueError for a share outside [0, 1].
        """
        if not 0.0 <= share <= 1.0:
            raise MoueError(f"recipe {self.name!r}: a share of {share} is not in [0, 1]")
        if share == 1.0:
            return self
        return self.with_(cells=tuple(replace(cell, weight=cell.weight * share) for cell in self.cells))

    @property
    def regions(self) -> list[str]:
        """Regions that this recipe uses, by cell or row, in order of first mention."""
        return list(dict.fromkeys([cell.region for cell in self.cells] + list(self.rows)))

    def with_(self, **changes: object) -> Recipe:
        """A recipe with some fields replaced."""
        return replace(self, **changes)  # type: ignore[arg-type]
