"""The whole fit of a head onto a sculpt: the registered stages, one after the other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Pairs, Similarity
from composer.fitting.fit_state import NOT_YET, FitOptions, FitState
from composer.fitting.project import ProjectedLevel
from composer.fitting.report import FitReport
from composer.fitting.sculpt import CleanSculpt
from composer.fitting.stages import STAGES
from composer.fitting.start.found import start_words
from composer.geometry.polygons import Polygons, read_only
from composer.head.axes import FileAxes
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.progress import Progress

Rows = NDArray[np.float64]
LANDMARKS_ALONE = "by the landmarks alone"
"""The words of the look before the bend: the cage as the landmarks carry it."""


@dataclass(frozen=True, eq=False)
class StageLook:
    """How the cage stood after a stage that moved it: the stage's `words` and the cage's `positions` (n, 3) float32 mm.
    """

    words: str
    positions: NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class FittedHead:
    """A head fitted onto a sculpt: `head` with the fitted cage as its neutral, with its landmarks and parts and without
    shapes; the projected `levels` from 0 on; `free` (n,) and `rejected` (n,) of the cage; the `sculpt`, the landmark
    `pairs` and the similarity `aligned` of the fit; the `report`; how far the bent cage lay
    `off` (n,) the sculpt, mm; what is to be said where it was `found` by its form alone, else ""; and `looks`, the
    cage after each stage that moved it, the first one as the landmarks alone carry it.
    """

    head: Head
    levels: tuple[ProjectedLevel, ...]
    free: Rows
    rejected: NDArray[np.bool_]
    sculpt: CleanSculpt
    pairs: Pairs
    aligned: Similarity
    report: FitReport
    off: Rows
    found: str = ""
    looks: tuple[StageLook, ...] = ()

    @property
    def turned(self) -> int:
        """How many faces are turned over or folded, on the cage and on finer levels."""
        return self.report.reversed_faces + self.report.folded_faces + sum(level.bad_faces for level in self.levels)

    @property
    def heat(self) -> tuple[str, Rows]:
        """What a heat map of the fit shows, in words, and its amounts (n,) in mm, NaN where there is none."""
        return "off the sculpt, before it was laid on", self.off


def fit_head(
    head: Head, sculpt_positions: Rows, sculpt_polygons: Polygons, marks: Landmarks, sculpt_marks: Landmarks,
    options: FitOptions | None = None, progress: Progress | None = None,
) -> FittedHead:  # fmt: skip
    """Fit `head` onto a sculpt (m, 3) mm through landmarks on both, stage by stage (`composer.fitting.stages`).
    Landmarks that are pinned on the sculpt hold, besides those that the options name.

    Raises MoueError where a stage cannot use the sculpt, the landmarks or the options.
    """
    say: Progress = progress or (lambda fraction, words: None)
    asked = options or FitOptions()
    pinned = tuple(dict.fromkeys((*asked.pinned, *sorted(sculpt_marks.pinned))))
    state = FitState(
        head, marks, sculpt_positions, sculpt_polygons, sculpt_marks, replace(asked, pinned=pinned)
    )  # fmt: skip
    begun = 0.0
    looks: list[StageLook] = []
    for stage in STAGES:
        say(begun, stage.words)
        before, state = state.positions, stage.run(state, _part_of(say, begun, stage.share))
        if state.positions is not before:
            if not looks and state.bent is not NOT_YET:
                looks.append(StageLook(LANDMARKS_ALONE, state.bent.warped.astype(np.float32)))
            looks.append(StageLook(stage.words, state.positions.astype(np.float32)))
        begun += stage.share
    say(1.0, "fitted")
    return replace(_fitted(state), looks=tuple(looks))


def _part_of(say: Progress, begun: float, share: float) -> Progress:
    """The progress of one stage, which goes from 0 to 1 by itself, as a part of the whole."""
    return lambda fraction, words: say(begun + share * fraction, words)


def _fitted(state: FitState) -> FittedHead:
    cage = state.levels[0]
    head = state.head.with_(
        axes=FileAxes(),
        name=state.options.name or state.head.name, neutral=read_only(np.array(cage.positions)), shapes=(),
        neutral_file=None, path=None, notes=(), landmarks=state.marks,
    )  # fmt: skip
    return FittedHead(
        head, state.levels, state.free, cage.rejected, state.clean, state.pairs, state.aligned,
        state.report, state.off, "" if state.start is None else start_words(state.start),
    )  # fmt: skip
