"""The whole fit of a head onto a sculpt, stage after stage; every stage can also be called alone, from its own file.

Clean the sculpt, check the landmarks, find what it has sealed, bend the cage onto it, relax the loops, close what is
sealed, place the parts, project by levels, and report.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Pairs, Similarity, check_pairs, landmark_pairs
from composer.fitting.nonrigid import Skin, Stage, fit, skin_marks
from composer.fitting.parts import place_parts
from composer.fitting.project import REACH, ProjectedLevel, project, usable_reach
from composer.fitting.relax import relax
from composer.fitting.report import FitReport, fit_report
from composer.fitting.sculpt import CleanSculpt, clean_sculpt
from composer.fitting.sealed import close_seam, sealed_seams, seam_zone
from composer.fitting.zones import free_zones
from composer.geometry.polygons import Polygons, read_only
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.progress import Progress

Rows = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class FittedHead:
    """A head on a sculpt: `head` with the fitted cage as its neutral and without shapes, its landmarks and parts kept;
    `levels` the projected levels from 0; `free` (n,), `rejected` (n,) of the cage; what it was made from; the report.
    """

    head: Head
    levels: tuple[ProjectedLevel, ...]
    free: Rows
    rejected: NDArray[np.bool_]
    sculpt: CleanSculpt
    pairs: Pairs
    aligned: Similarity
    stages: tuple[Stage, ...]
    report: FitReport


def fit_head(
    head: Head, sculpt_positions: Rows, sculpt_polygons: Polygons, marks: Landmarks, sculpt_marks: Landmarks, *,
    free: NDArray | None = None, groups: tuple[str, ...] | None = None, relaxed: bool = True,
    relax_mask: NDArray | None = None, reach_mm: float | None = None, up_to: int | None = None,
    protect: NDArray | None = None, any_size: bool = False, turn_over: bool = False, name: str | None = None,
    where: Path | str | None = None, progress: Progress | None = None,
) -> FittedHead:  # fmt: skip
    """Fit `head` onto a sculpt (m, 3) mm through landmarks on both; see the files of this package for each stage.

    `free` (n,) adds to the free zones, `groups` names groups that are free; `relax_mask` and `protect` are (n,) in
    [0, 1]; `reach_mm` and `up_to` as `project` takes them (up_to 0: the cage alone); `turn_over` takes a sculpt whose
    faces look inwards the other way round. Raises MoueError, one line, for what cannot be used.
    """
    say: Progress = progress or (lambda fraction, words: None)
    if reach_mm is not None:
        usable_reach(reach_mm)
    say(0.0, "reading the sculpt")
    clean = clean_sculpt(sculpt_positions, sculpt_polygons, where)
    if turn_over:
        clean = clean.turned_over()
    pairs = landmark_pairs(head, marks, sculpt_marks, sculpt_positions)
    aligned, odd = check_pairs(pairs, head, clean.surface, any_size)
    hollow, found = free_zones(head, marks, groups=groups, mask=free)
    seams, sealed = sealed_seams(head, marks, pairs, aligned, clean.surface, clean.balls)
    bands = [seam_zone(head, seam, hollow) for seam in seams]
    zones = np.maximum.reduce([hollow, *(band.astype(np.float64) for band in bands)])
    bent = fit(
        head, clean.surface, pairs, zones, aligned=aligned, progress=lambda f, words: say(0.05 + 0.45 * f, words)
    )
    positions = np.array(bent.positions)
    skin = Skin.of(head)
    if relaxed:
        say(0.5, "relaxing the loops")
        positions[skin.vertices] = relax(
            skin.polygons, positions[skin.vertices], clean.surface, head.neutral[skin.vertices],
            None if relax_mask is None else relax_mask[skin.vertices], free=zones[skin.vertices],
            held=skin_marks(skin, pairs)[0],
        )  # fmt: skip
    for band in bands:
        positions = close_seam(head, positions, band, zones, pairs)
    say(0.6, "placing the parts")
    positions, placed = place_parts(head, positions, clean.balls, hollow)
    keep = np.zeros(head.n_vertices) if protect is None else np.array(protect, dtype=np.float64)
    keep[~head.skin] = 1.0
    on_skin = (pairs.vertices >= 0) & head.skin[pairs.vertices]
    reach = REACH * float(np.linalg.norm(np.ptp(positions, axis=0))) if reach_mm is None else reach_mm
    levels = project(
        head.polygons, positions, clean.surface, reference=head.neutral, reach_mm=reach, up_to=up_to, free=zones,
        protect=keep, marks=(pairs.vertices[on_skin], pairs.sculpt[on_skin]),
        progress=lambda f, words: say(0.62 + 0.33 * f, words),
    )  # fmt: skip
    cage = levels[0].positions
    say(0.96, "measuring")
    notes = [*clean.notes, *odd, *found, *sealed, *placed]
    notes += [
        f"Level {level.k}: {level.n_mended:,} vertices given up and filled, so that no face is turned over or folded."
        for level in levels
        if level.n_mended
    ]
    notes += [f"Level {lv.k}: {lv.bad_faces} faces are turned over or folded." for lv in levels if lv.bad_faces]
    report = fit_report(
        head, cage, clean.surface, pairs, aligned, free=zones, rejected=levels[0].rejected, filled=levels[0].filled,
        reach_mm=reach, levels=tuple(levels), dropped=clean.dropped, notes=tuple(notes),
    )  # fmt: skip
    new = head.with_(
        name=name or head.name, neutral=read_only(np.array(cage)), shapes=(), neutral_file=None, path=None, notes=(),
        landmarks=marks,
    )  # fmt: skip
    say(1.0, "fitted")
    return FittedHead(
        new, tuple(levels), zones, levels[0].rejected, clean, pairs, aligned, bent.stages, report
    )  # fmt: skip
