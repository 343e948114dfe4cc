"""A target matched in few cells: the whole face first, then regions where they tell more than noise.

Three steps choose the cells. A penalty on the sum of the weights proposes them (`Bounds.sparse`). What it proposes is
weighed again without the penalty. Then cells go, the least needed first, as long as the pose gets worse by no more
than noise would make it: taking a cell of weight x out of a least squares fit raises the sum of squares by
x^2 / (G^-1)_jj, with G the Gram matrix of the cells that are in (Draper and Smith, Applied Regression Analysis, 1998,
section 6: the partial F test). The whole face (`all`) is tried by itself. Regions join it only where they leave
clearly less.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.edits.match import Matched, Matcher
from composer.mixing.match import RIDGE, Bounds
from composer.mixing.recipe import ALL, Cell, CellKey

SPARSE = 0.01
"""The penalty unless another is asked for, as a part of the one at which no cell is chosen."""
PRUNED = 0.005
"""A weight below half a percent is left out: nobody sees it."""
NOTICED = 25.0
"""A cell stays where taking it out raises the sum of squares by more than this many times the noise of one number:
five standard deviations."""
FLOOR = 4e-5
"""Of the head's diagonal: noise is never taken for less (0.01 mm on a head of 250 mm)."""
CLEARLY = 0.9
"""Regions join the whole face where the root mean square of what is left falls below this part of what the whole
face leaves."""
TURNS = 30
"""How often cells are taken out and the rest weighed again, at most."""


@dataclass(frozen=True)
class FewCells:
    """The answer, and how far the whole face alone gets: `whole` is None where it was not tried."""

    matched: Matched
    whole: Matched | None

    @property
    def words(self) -> str | None:
        """A sentence on the whole face, None where it was not tried."""
        if self.whole is None:
            return None
        cells = len(self.whole.cells)
        what = f"the whole face alone gets to {100 * self.whole.explained:.1f} percent with {cells} cells"
        if self.matched is self.whole:
            return f"{what}; regions do not get clearly further."
        return f"{what}, regions to {100 * self.matched.explained:.1f} percent with {len(self.matched.cells)}."


def match_few(
    evaluated: EvaluatedDocument, target: NDArray, regions: Sequence[str] | None = None,
    shapes: Sequence[str] | None = None, *, bounds: Bounds | None = None, symmetric: bool = False, whole: bool = True,
) -> FewCells:  # fmt: skip
    """The cells whose pose comes nearest to `target` (n, 3) mm, few of them unless `bounds.sparse` is 0.

    `whole` tries the whole face (region `all`) first, and keeps that where `regions` (those of `Matcher` unless said)
    do not get clearly further. Without it, and with a `sparse` of 0, this is `Matcher.solve`.
    Raises MoueError as `Matcher.solve`.
    """
    bounds = bounds or Bounds(sparse=SPARSE)
    by_region = Matcher(evaluated, regions, shapes)
    if not whole:
        return FewCells(_found(by_region, target, bounds, symmetric), None)
    face = _found(Matcher(evaluated, [ALL], shapes), target, bounds, symmetric)
    if by_region.regions == [ALL] or _rms(face) <= FLOOR * evaluated.head.diagonal:
        return FewCells(face, face)
    if bounds.sparse:  # cells of regions beside those of the whole face
        both = Matcher(evaluated, [ALL, *(region for region in by_region.regions if region != ALL)], shapes)
        candidates = {cell.key for cell in face.cells} | {key for key in both.keys if key[0] != ALL}
        further = _few(both, target, bounds, symmetric, candidates, face.cells)
    else:
        further = by_region.solve(target, bounds=bounds, symmetric=symmetric)
    return FewCells(further if _rms(further) < CLEARLY * _rms(face) else face, face)


def _found(matcher: Matcher, target: NDArray, bounds: Bounds, symmetric: bool) -> Matched:
    if bounds.sparse:
        return _few(matcher, target, bounds, symmetric)
    return matcher.solve(target, bounds=bounds, symmetric=symmetric)


def _few(
    matcher: Matcher, target: NDArray, bounds: Bounds, symmetric: bool, only: Collection[CellKey] | None = None,
    warm: Sequence[Cell] | None = None,
) -> Matched:  # fmt: skip
    """Cells proposed by the penalty, weighed again without it, and fewer as long as that costs no more than noise."""
    plain = replace(bounds, sparse=0.0)
    found = matcher.solve(target, bounds=bounds, symmetric=symmetric, only=only, warm=warm)
    for _ in range(TURNS):
        kept = _needed(matcher, found)
        if len(kept) == len(found.cells):
            break
        found = matcher.solve(target, bounds=plain, symmetric=symmetric, only=kept, warm=found.cells)
        if not kept:
            break
    return found


def _needed(matcher: Matcher, found: Matched) -> set[CellKey]:
    """The cells that stay: all of them where none can go, otherwise without those that can go together."""
    cells = [cell for cell in found.cells if abs(cell.weight) >= PRUNED]
    columns = matcher.columns
    at = [columns.index[cell.key] for cell in cells]
    gram = columns.gram[np.ix_(at, at)]
    weights = np.array([cell.weight for cell in cells])
    size = np.sqrt(np.maximum(np.diagonal(gram), 1e-300))
    scaled = gram / np.outer(size, size) + RIDGE * np.eye(len(at))
    alone = np.diagonal(la.inv(scaled)) if len(at) else np.zeros(0)
    costs = (weights * size) ** 2 / np.maximum(alone, 1e-300)
    noise = max(_rms(found) / np.sqrt(3.0), FLOOR * matcher.evaluated.head.diagonal / np.sqrt(3.0)) ** 2
    order = np.argsort(costs, kind="stable")
    # Costs add up only where cells have little in common: at most a quarter of them go at a time.
    going = [k for k in order[: max(len(order) // 4, 1)] if costs[k] < NOTICED * noise]
    return {cell.key for k, cell in enumerate(cells) if k not in set(going)}


def _rms(matched: Matched) -> float:
    """The root mean square of what is left, in mm a vertex."""
    return float(np.sqrt(np.mean(np.square(matched.residual)))) if len(matched.residual) else 0.0
