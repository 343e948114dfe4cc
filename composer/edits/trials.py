"""Trials: a sweep of one cell, the transition from one recipe to another, and random recipes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.edits.sides import linked
from composer.errors import MoueError
from composer.mixing.recipe import WEIGHT_RANGE, Cell, CellKey, Recipe
from masks.soften import smoothstep


def sweep(recipe: Recipe, key: CellKey, low: float, high: float, steps: int) -> list[Recipe]:
    """The recipe with one cell at `steps` (at least 2) evenly spaced weights from `low` to `high`, both exact.

    A cell that the recipe does not have is added last. Raises MoueError for fewer steps or weights outside [-1, 2].
    """
    if steps < 2:
        raise MoueError(f"a sweep needs at least 2 steps, not {steps}", hint="give 2 or more")
    weights = [low, *(low + (high - low) * i / (steps - 1) for i in range(1, steps - 1)), high]
    return [with_weight(recipe, Cell(key[0], key[1], float(weight), key[2])) for weight in weights]


def with_weight(recipe: Recipe, cell: Cell) -> Recipe:
    """The recipe with this cell in the place of the one with its key, or last where it has none."""
    if any(old.key == cell.key for old in recipe.cells):
        return recipe.with_(cells=tuple(cell if old.key == cell.key else old for old in recipe.cells))
    return recipe.with_(cells=(*recipe.cells, cell))


def weights_between(a: Recipe, b: Recipe, along: float) -> Recipe:
    """Recipe `a` with the weights a share `along` in [0, 1] of the way to those of `b`; a cell that one of them lacks
    has weight 0 there. What a person reads off a travel: where rows, joins and strengths are alike and no shape turns
    or has in-betweens, it is also the recipe of the pose on the way."""
    start, end = {c.key: c for c in a.cells}, {c.key: c for c in b.cells}
    cells = []
    for key in dict.fromkeys((*start, *end)):
        one, two = (held[key].weight if key in held else 0.0 for held in (start, end))
        cells.append(Cell(key[0], key[1], (1.0 - along) * one + along * two, key[2]))
    return a.with_(cells=tuple(cells), rows={**b.rows, **a.rows})


def eased(time: float, pace: float = 0.0) -> float:
    """The share of the way in [0, 1] at `time` in [0, 1]: linear for a pace of 0, smoothstep for 1, a mixture in
    between. It is 0 and 1 exactly at the ends and never decreases. Values outside [0, 1] are clipped.
    """
    at, ease = min(max(float(time), 0.0), 1.0), min(max(float(pace), 0.0), 1.0)
    return (1.0 - ease) * at + ease * float(smoothstep(at))


class Travel:
    """The straight line from one displacement of the neutral to another, `start` and `end` (n, 3) mm."""

    def __init__(self, start: NDArray[np.float64], end: NDArray[np.float64]) -> None:
        self.start, self.end = start, end

    def displacement(self, time: float, pace: float = 0.0) -> NDArray[np.float64]:
        """(n, 3) mm, P - N at `time` in [0, 1] with the pace of `eased`; at 0 and 1 exactly `start` and `end`."""
        along = eased(time, pace)
        if along in (0.0, 1.0):
            return (self.end if along else self.start).copy()
        return (1.0 - along) * self.start + along * self.end


def random_recipe(
    seed: int, regions: Sequence[str], shapes: Sequence[str], cells: int,
    limits: tuple[float, float] = (0.0, 1.0), symmetric: bool = False, name: str = "trial",
) -> Recipe:  # fmt: skip
    """A random recipe of `cells` different cells, with uniform weights in `limits` (within [-1, 2]), in hundredths.

    The same arguments give the same recipe. `symmetric` adds to every cell its linked cell on the other side
    (`composer.edits.sides.linked`) with the same weight. Linked cells do not count towards `cells`; if no free cells
    remain, fewer are drawn. Raises MoueError for limits out of range or in the wrong order, or more cells than regions
    times shapes.
    """
    low, high = limits
    if not WEIGHT_RANGE[0] <= low <= high <= WEIGHT_RANGE[1]:
        hint = "give limits within [-1, 2], in order"
        raise MoueError(f"weights from {low:g} to {high:g} cannot be drawn", hint=hint)
    count = len(regions) * len(shapes)
    if not 0 <= cells <= count:
        raise MoueError(f"{cells} cells cannot be drawn from {len(regions)} regions and {len(shapes)} shapes")
    rng = np.random.default_rng(seed)
    by_key: dict[CellKey, Cell] = {}
    drawn = 0
    for at in rng.permutation(count):
        if drawn == cells:
            break
        region, shape = divmod(int(at), len(shapes))
        weight = min(max(round(float(rng.uniform(low, high)), 2), low), high)
        cell = Cell(regions[region], shapes[shape], weight)
        if cell.key in by_key:
            continue
        drawn += 1
        other = linked(cell, regions, shapes) if symmetric else None
        by_key |= {each.key: each for each in (cell, other) if each is not None}
    return Recipe(name, tuple(by_key.values()))
