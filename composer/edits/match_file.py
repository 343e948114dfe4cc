"""Matching a face in a file: it is read, checked for its place, and reproduced by weights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from composer.document.evaluated import EvaluatedDocument
from composer.edits.match import Matcher
from composer.edits.match_few import FewCells, match_few
from composer.edits.sculpt import Sculpt, check_place, read_sculpt
from composer.mixing.match import Bounds, Conditioning


@dataclass(frozen=True, eq=False)
class MatchedFile:
    """The sculpt that was read, the cells that come nearest to it, and the `conditioning` of the weights: None for a
    match in few cells, where each cell is tested by itself."""

    sculpt: Sculpt
    few: FewCells
    conditioning: Conditioning | None


def match_file(
    evaluated: EvaluatedDocument, target: Path, regions: Sequence[str] | None = None,
    shapes: Sequence[str] | None = None, *, bounds: Bounds | None = None, symmetric: bool = False,
    whole: bool = True, unit: str | None = None,
) -> MatchedFile:  # fmt: skip
    """Match the face in `target`, a file of the head's own topology in any format.

    `regions`, `shapes`, `bounds`, `symmetric` and `whole` as in `match_few`; `unit` is the unit of a file that does
    not state its own. Raises MoueError, with the file, where it has another topology or scale, or was moved as a whole.
    """
    head = evaluated.head
    sculpt = read_sculpt(head, target, 0, unit, target.stem)
    check_place(sculpt, head.neutral, head.polygons, head.diagonal, unit or head.unit)
    few = match_few(evaluated, sculpt.positions, regions, shapes, bounds=bounds, symmetric=symmetric, whole=whole)
    sparse = bounds is None or bounds.sparse > 0.0
    return MatchedFile(sculpt, few, None if sparse else Matcher(evaluated, regions, shapes).conditioning)
