"""Which cells may follow a pull: those of the recipe that have a say at the point, and new ones."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.mixing.linear import Mixer
from composer.mixing.recipe import ALL, REMAINDER, Cell, CellKey, Recipe

Floats = NDArray[np.float64]
LEAST_MM = 0.3
"""A shape counts at the point if at weight 1 it moves the point by more than this, mm. A design choice, no source."""
LEAST_MASK = 0.05
"""A region counts at the point if its mask there is above this, and only there may it get new cells. A design choice,
no source."""
BESIDE = 0.02
"""A region lies beside another where both masks are above this. A design choice, no source."""
SECANT = 0.5
"""The weight over which the slope of a shape with in-betweens or a hinge is taken: about what one pull changes. A
design choice, no source."""


@dataclass(frozen=True, eq=False)
class Held:
    """The point that is pulled: weights `bary` (c,) on the vertices `corners` (c,) of one polygon."""

    corners: NDArray[np.int64]
    bary: Floats

    def of(self, field: NDArray) -> Floats:
        """(3,) or (), the value of a field (n, 3) or (n,) at the point."""
        return np.asarray(self.bary @ np.asarray(field[self.corners], dtype=np.float64))


@dataclass(frozen=True)
class Candidates:
    """Cells that may change: `keys`, the first `own` of them in the recipe already, and their weights `start`."""

    keys: tuple[CellKey, ...]
    own: int
    start: tuple[float, ...]


def slope(mixer: Mixer, key: CellKey, weight: float) -> NDArray:
    """(n, 3) mm, the displacement of a cell's shape for one unit of weight, from `weight` on: its delta where it moves
    in a straight line, else the secant over SECANT (backwards where that would pass 1)."""
    move = mixer.motion(Cell(*key[:2], 1.0, key[2]))
    if len(move.fields) == 1:
        return move.fields[0]
    step = SECANT if weight + SECANT <= 1.0 else -SECANT
    change = (np.array(move.amounts(weight + step)) - np.array(move.amounts(weight))) / step
    total = np.zeros(move.fields[0].shape)
    for amount, field in zip(change, move.fields, strict=True):
        if amount != 0.0:
            total += amount * field
    return total


def candidates(
    mixer: Mixer, masks: Mapping[str, NDArray], recipe: Recipe, point: Held, shapes: Iterable[str],
    spots: Collection[str], locked: Callable[[CellKey], bool],
) -> Candidates:  # fmt: skip
    """The cells that may follow a pull at `point`.

    In the recipe: cells of regions here and beside, and of `all`, whose shapes move the point. New: the regions here,
    `all` and `spots`, each with those of `shapes` that move the point. `masks` (n,) holds the spots too. Cells for
    which `locked` is true stay out.
    """
    moving = [name for name in shapes if np.linalg.norm(point.of(mixer.head.shape(name).delta)) > LEAST_MM]
    regions = [name for name in masks if name not in (ALL, REMAINDER) and name not in spots]
    amount = {name: float(point.of(masks[name])) for name in regions}
    under = sorted((name for name in regions if amount[name] > LEAST_MASK), key=lambda name: -amount[name])
    around = {*under, *_beside(masks, regions, under[0]), ALL, REMAINDER} if under else {ALL, REMAINDER}
    known = {cell.key: cell.weight for cell in recipe.cells}
    own = [key for key in known if key[0] in around and not locked(key) and _moves(mixer, key, moving, point)]
    new = [
        (region, shape, False) for shape in moving for region in (*under, ALL, *spots)
        if (region, shape, False) not in known and not locked((region, shape, False))
    ]  # fmt: skip
    return Candidates((*own, *new), len(own), (*(known[key] for key in own), *(0.0 for _ in new)))


def _beside(masks: Mapping[str, NDArray], regions: Iterable[str], name: str) -> list[str]:
    """The regions that overlap one of them."""
    at = np.flatnonzero(masks[name] > BESIDE)
    return [other for other in regions if bool((masks[other][at] > BESIDE).any())]


def _moves(mixer: Mixer, key: CellKey, moving: Collection[str], point: Held) -> bool:
    """Whether the shape of a cell of the recipe moves the point."""
    if key[1] in mixer.correctives.names:
        return False
    if not key[2]:
        return key[1] in moving
    return bool(np.linalg.norm(point.of(mixer.motion(Cell(*key[:2], 1.0, True)).at(1.0))) > LEAST_MM)
