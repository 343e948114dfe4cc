"""The options of a fit, and the results of its stages so far."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Pairs, Similarity
from composer.fitting.hollows.shown import Cavity
from composer.fitting.nonrigid import Fitted
from composer.fitting.project import ProjectedLevel
from composer.fitting.sculpt import CleanSculpt
from composer.fitting.sealed import Seam
from composer.fitting.start.found import Start
from composer.geometry.polygons import Polygons
from composer.head.fit_zones import FitZones
from composer.head.head import Head
from composer.head.landmarks import Landmarks

if TYPE_CHECKING:
    from composer.fitting.report import FitReport

Rows = NDArray[np.float64]
NOT_YET: Any = None
"""Stands for a result that no stage has found yet."""


@dataclass(frozen=True, eq=False)
class FitOptions:
    """The options of a fit; the defaults suit most sculpts.

    `free` (n,) in [0, 1] adds to the zones that do not follow the sculpt, `groups` names face groups that do not.
    `relaxed` False leaves the loops as the bend leaves them, and `relax_mask` (n,) in [0, 1] is how far each vertex may
    relax. `protect` (n,) in [0, 1] is how much of its position a vertex keeps in the projection, `reach_mm` above 0 the
    furthest that it moves (by default 1.5 percent of the diagonal), `up_to` from 0 to 8 the last level (by default the
    first whose edges are as short as the sculpt's). `any_size` accepts a sculpt of any size, `turn_over` one whose
    faces look inwards, `follow_all` follows it over hair, hats and collars too. `like` are neutrals (n, 3) of earlier
    heads of the same topology, in any place and size; `pinned` names landmarks that hold, the others pull; `click_mm`
    is how exactly they were placed on the sculpt, a standard deviation along an axis, estimated where it is not given.
    `by_form` finds the head on the sculpt by its form (`composer.fitting.start.found`); landmarks then only pull.
    `name` is the fitted head's name, `where` the sculpt's file and `marks_where` that of the landmarks,
    for messages.
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
    follow_all: bool = False
    like: tuple[NDArray, ...] = ()
    pinned: tuple[str, ...] = ()
    click_mm: float | None = None
    by_form: bool = False
    name: str | None = None
    where: Path | str | None = None
    marks_where: Path | str | None = None

    def with_zones(self, zones: FitZones) -> FitOptions:
        """The same, with painted zones besides: those of the library's form are free, those that stay still are
        protected."""
        free, protect = _both(self.free, zones.form), _both(self.protect, zones.still)
        return replace(self, free=free, protect=protect)


def _both(one: NDArray | None, other: NDArray | None) -> NDArray | None:
    """(n,) the larger of two masks, None where there is neither. Masks of other lengths are left to the stages."""
    if one is None or other is None:
        return other if one is None else one
    return np.maximum(one, other) if np.shape(one) == np.shape(other) else one


@dataclass(frozen=True, eq=False)
class FitState:
    """A fit between two of its stages; each stage returns a copy with its results.

    Given at the start: the library's `head` with `marks`, the sculpt (m, 3) mm with its polygons and `sculpt_marks`,
    and the `options`. Found by the stages, in this order: the sculpt cleaned; the landmark `pairs` and the similarity
    `aligned`, and the `start` where the head was found by form; `hollow` (n,) free because the sculpt has nothing to
    follow, the openings that it has `sealed`, `seams` (n,) flags about each of them, and `free` (n,) all together; the
    library's further `cavities`; the result of the bend; the cage's `positions` (n, 3) mm, how far they lay `off` (n,)
    the sculpt before they landed on it, and `free` with the cavities that the sculpt does not show; the vertices
    `filled` (n,) because the sculpt has no place for them; the vertices `mended` (n,) so that skin does not cross, with
    those under what is `worn` (n,), hair, hats and collars; `reach_mm` and the projected `levels`; the `report`.
    `notes` are sentences for the user.
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
    start: Start | None = None
    hollow: Rows = NOT_YET
    seams: tuple[NDArray[np.bool_], ...] = NOT_YET
    sealed: tuple[Seam, ...] = NOT_YET
    free: Rows = NOT_YET
    cavities: tuple[Cavity, ...] = NOT_YET
    filled: NDArray[np.bool_] = NOT_YET
    mended: NDArray[np.bool_] = NOT_YET
    worn: NDArray[np.bool_] = NOT_YET
    bent: Fitted = NOT_YET
    positions: Rows = NOT_YET
    off: Rows = NOT_YET
    reach_mm: float = NOT_YET
    levels: tuple[ProjectedLevel, ...] = NOT_YET
    report: FitReport = NOT_YET
    notes: tuple[str, ...] = ()
