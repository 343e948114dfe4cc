"""A match in few cells: the whole face first, then regions where they explain more than noise.

Three steps select the cells. A penalty on the sum of the weights proposes them (`Bounds.sparse`). Their weights are
solved again without the penalty. Then cells are removed, the least significant first, as long as the pose gets worse
by no more than noise: removing a cell of weight x from a least squares fit raises the sum of squares by
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
"""The default penalty, as a fraction of the one at which no cell is selected. A design choice, no source."""
PRUNED = 0.005
"""Weights below half a percent are removed: nobody sees them. Common practice, no source."""
NOTICED = 25.0
"""A cell stays if its removal raises the sum of squares by more than this many times the noise variance of one
coordinate: five standard deviations.
"""
FLOOR = 4e-5
"""The least noise, as a fraction of the head's diagonal: 0.01 mm on a head of 250 mm. A design choice, no source."""
CLEARLY = 0.9
"""Regions are used if their RMS residual is below this fraction of that of the whole face. A design choice, no
source.
"""
TURNS = 30
"""The most rounds of removing cells and solving the others again; a safety limit."""


@dataclass(frozen=True)
class FewCells:
    """The result, and the match by the whole face alone: `whole` is None where it was not tried."""

    matched: Matched
    whole: Matched | None

    @property
    def words(self) -> str | None:
        """A sentence on the whole face, None where it was not tried."""
        if self.whole is None:
            return None
        cells = len(self.whole.cells)
        what = f"the whole face alone reaches {100 * self.whole.explained:.1f} percent with {cells} cells"
        if self.matched is self.whole:
            return f"{what}; regions are not clearly better."
        return f"{what}, regions reach {100 * self.matched.explained:.1f} percent with {len(self.matched.cells)}."


def match_few(
    evaluated: EvaluatedDocument, target: NDArray, regions: Sequence[str] | None = None,
    shapes: Sequence[str] | None = None, *, bounds: Bounds | None = None, symmetric: bool = False, whole: bool = True,
) -> FewCells:  # fmt: skip
    """The cells whose pose comes nearest to `target` (n, 3) mm, few of them unless `bounds.sparse` is 0.

    With `whole`, the whole face (region `all`) is tried first, and kept if `regions` (by default those of `Matcher`)
    are not clearly better. Without it, and with a `sparse` of 0, this is `Matcher.solve`.
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
    """Cells proposed by the penalty, solved again without it, then removed as long as that costs no more than noise."""
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
    """The cells that stay: all if none can be removed, otherwise all but those that can be removed together."""
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
    # Costs add up only where cells have little in common: at most a quarter is removed at a time.
    going = [k for k in order[: max(len(order) // 4, 1)] if costs[k] < NOTICED * noise]
    return {cell.key for k, cell in enumerate(cells) if k not in set(going)}


def _rms(matched: Matched) -> float:
    """The RMS residual in mm, over vertices."""
    return float(np.sqrt(np.mean(np.square(matched.residual)))) if len(matched.residual) else 0.0
