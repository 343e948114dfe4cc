"""What a fit is asked for, and what its stages have found so far."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Pairs, Similarity
from composer.fitting.nonrigid import Fitted
from composer.fitting.project import ProjectedLevel
from composer.fitting.sculpt import CleanSculpt
from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.head.landmarks import Landmarks

if TYPE_CHECKING:
    from composer.fitting.report import FitReport

Rows = NDArray[np.float64]
NOT_YET: Any = None
"""Stands for what no stage has found yet."""


@dataclass(frozen=True, eq=False)
class FitOptions:
    """What a person may ask of a fit; without arguments, what suits most sculpts.

    `free` (n,) in [0, 1] adds to the zones that do not follow the sculpt, `groups` names face groups that do not.
    `relaxed` False leaves the loops as the bend leaves them, and `relax_mask` (n,) in [0, 1] says how far each vertex
    may relax. `protect` (n,) in [0, 1] holds vertices back from being projected, `reach_mm` above 0 is how far a
    vertex may be projected (otherwise 1.5 percent of the diagonal), `up_to` from 0 to 8 is the last level (otherwise
    the first whose edges are as short as the sculpt's). `any_size` takes a sculpt of any size, `turn_over` one whose
    faces look inwards. `name` is the fitted head's, and `where` the sculpt's file, for messages.
    """

    free: NDArray | None = None
    groups: tuple[str, ...] | None = None
    relaxed: bool = True
    relax_mask: NDArray | None = None
    protect: NDArray | None = None
    reach_mm: float | None = None
    up_to: int | None = None
    any_size: bool = False
    turn_over: bool = False
    name: str | None = None
    where: Path | str | None = None


@dataclass(frozen=True, eq=False)
class FitState:
    """A fit between two of its stages; each stage gives back a copy with what it has found.

    Given at the start: the library's `head` with `marks`, the sculpt (m, 3) mm with its polygons and `sculpt_marks`,
    and the `options`. Found on the way, in this order: the cleaned sculpt; the landmark `pairs` and the similarity
    `aligned`; `hollow` (n,) free because there is nothing to follow, `seams` (n,) flags about each sealed opening, and
    `free` (n,) both together; what the bend came to; the cage's `positions` (n, 3) mm; `reach_mm` and the projected
    `levels`; the `report`. `notes` are sentences for the person.
    """

    head: Head
    marks: Landmarks
    sculpt_positions: Rows
    sculpt_polygons: Polygons
    sculpt_marks: Landmarks
    options: FitOptions
    clean: CleanSculpt = NOT_YET
    pairs: Pairs = NOT_YET
    aligned: Similarity = NOT_YET
    hollow: Rows = NOT_YET
    seams: tuple[NDArray[np.bool_], ...] = NOT_YET
    free: Rows = NOT_YET
    bent: Fitted = NOT_YET
    positions: Rows = NOT_YET
    reach_mm: float = NOT_YET
    levels: tuple[ProjectedLevel, ...] = NOT_YET
    report: FitReport = NOT_YET
    notes: tuple[str, ...] = ()
