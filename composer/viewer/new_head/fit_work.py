"""What is done for a new head beside the frame loop: the fit, the refit near what has changed, evening out loops,
giving places back the library's form, and carrying the document onto the new head."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.carried import carry_document
from composer.document.evaluated import EvaluatedDocument
from composer.errors import MoueError
from composer.fitting.align import landmark_pairs
from composer.fitting.chain import FittedHead, fit_head
from composer.fitting.fit_state import FitOptions
from composer.fitting.fitted_files import write_fitted
from composer.fitting.library_form import with_library_form
from composer.fitting.project import ProjectedLevel, project
from composer.fitting.refit import Refitted, refit
from composer.fitting.relax import relax
from composer.fitting.skin import Skin
from composer.head.fit_zones import FitZones
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.progress import Progress
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.new_head.steps import Step

Cage = NDArray[np.float64]
BY_HAND = "by hand {}"
"""The name under which a vertex that was moved by hand goes into a fit as a landmark."""


def fit_new(
    new: NewHead, step: Step, level: int | None, turn_over: bool, progress: Progress, by_form: bool = False
) -> FittedHead:
    """The whole fit of the library onto the sculpt: through the landmarks that are placed and the vertices that were
    moved by hand, with the painted zones; `by_form` finds the head without them. MoueError as `fit_head`."""
    marks, sculpt_marks = new.library.landmarks or Landmarks(), new.landmarks()
    pins = {BY_HAND.format(vertex): (vertex, place) for vertex, place in step.pins.items()}
    head_side = Landmarks({**marks.points, **{name: pin[0] for name, pin in pins.items()}}, marks.curves)
    sculpt_side = Landmarks(
        {**sculpt_marks.points, **{name: pin[1] for name, pin in pins.items()}}, sculpt_marks.curves,
        sculpt_marks.pinned,
    )  # fmt: skip
    options = FitOptions(
        up_to=level, turn_over=turn_over, any_size=True, name=new.sculpt.name, where=new.sculpt.path,
        pinned=tuple(pins), by_form=by_form,
    ).with_zones(step.zones)
    fitted = fit_head(
        new.library, new.sculpt.neutral, new.sculpt.polygons, head_side, sculpt_side, options, progress=progress
    )
    return replace(fitted, head=fitted.head.with_(landmarks=new.library.landmarks))


def refit_new(new: NewHead, step: Step, names: list[str], progress: Progress) -> Refitted:
    """The cage brought through the landmarks and curves of these names, changed near them alone. Raises MoueError
    before there is a fit."""
    fitted, cage = _fit_of(step)
    progress(0.1, "refitting")
    sculpt_marks = new.landmarks()
    asked = Landmarks(
        {name: place for name, place in sculpt_marks.points.items() if name in names},
        {name: line for name, line in sculpt_marks.curves.items() if name in names},
    )
    pairs = landmark_pairs(new.library, new.library.landmarks or Landmarks(), asked, new.sculpt.neutral)
    return refit(
        new.library, cage, fitted.sculpt.surface, pairs, free=free_of(fitted, step.zones), hold=step.zones.still
    )


def free_of(fitted: FittedHead, zones: FitZones) -> Cage:
    """(n,) in [0, 1], where the cage does not follow the sculpt: as the fit found it, and where zones say so."""
    return fitted.free if zones.form is None else np.maximum(fitted.free, zones.form)


def even_out(new: NewHead, step: Step, mask: NDArray | None, progress: Progress) -> Cage:
    """(n, 3) mm, the cage with loops shaped more like the library's where the mask (n,) is above 0, and nowhere where
    a zone keeps it still; every other vertex is unchanged, bit for bit. Raises MoueError before there is a fit."""
    fitted, cage = _fit_of(step)
    progress(0.2, "evening out")
    skin = Skin.of(new.library)
    amount = np.ones(len(cage)) if mask is None else np.asarray(mask, dtype=np.float64)
    if step.zones.still is not None:
        amount = amount * (1.0 - step.zones.still)
    evened = np.array(cage)
    evened[skin.vertices] = relax(
        skin.polygons, evened[skin.vertices], fitted.sculpt.surface, new.library.neutral[skin.vertices],
        amount[skin.vertices], free=free_of(fitted, step.zones)[skin.vertices],
    )  # fmt: skip
    return evened


def keep_form(new: NewHead, step: Step, zone: NDArray, progress: Progress) -> Cage:
    """(n, 3) mm, the cage with the library's form in a zone (n,). Raises MoueError before there is a fit."""
    _, cage = _fit_of(step)
    progress(0.2, "giving it the library's form")
    return with_library_form(new.library, cage, zone)


def carry_new(
    evaluated: EvaluatedDocument, new: NewHead, step: Step, folder: Path, progress: Progress
) -> Path:
    """The open document carried onto the fitted head: `folder` gets the new document with its library, and beside it
    lies the fit, in `folder` with `_fit` after its name. The path of the document. Raises MoueError where it cannot be
    written, and before there is a fit."""
    fitted, cage = _fit_of(step)
    if folder.exists() and any(folder.iterdir()):
        raise MoueError("is there already and not empty", folder, hint="give a new folder")
    if not np.array_equal(cage, fitted.head.neutral):
        progress(0.0, "projecting again what was corrected")
        fitted = _corrected(new, step, fitted, cage)
    progress(0.1, "writing the fit")
    write_fitted(fitted, folder.with_name(f"{folder.name}_fit"), "mm")
    finer = {level.k: level.positions for level in fitted.levels if level.k > 0}
    document = carry_document(
        evaluated, fitted.head, folder, finer=finer, progress=lambda f, words: progress(0.15 + 0.85 * f, words)
    )
    return document.path


def neutral_of_fit(new: NewHead, step: Step, progress: Progress) -> tuple[Head, dict[int, Cage]]:
    """The fitted head as it stands now, and its finer levels (n_k, 3) mm, projected again from what was corrected.
    Raises MoueError before there is a fit."""
    fitted, cage = _fit_of(step)
    if not np.array_equal(cage, fitted.head.neutral):
        progress(0.0, "projecting again what was corrected")
        fitted = _corrected(new, step, fitted, cage)
    return fitted.head, {level.k: level.positions for level in fitted.levels if level.k > 0}


def _fit_of(step: Step) -> tuple[FittedHead, Cage]:
    if step.fitted is None or step.cage is None:
        raise MoueError("there is no fit yet")
    return step.fitted, step.cage


def _corrected(new: NewHead, step: Step, fitted: FittedHead, cage: Cage) -> FittedHead:
    """The fit with a cage that was corrected since; its finer levels are projected again from there."""
    finest = max(level.k for level in fitted.levels)
    keep = np.zeros(len(cage)) if step.zones.still is None else np.array(step.zones.still)
    keep[~new.library.skin] = 1.0
    levels: list[ProjectedLevel] = project(
        new.library.polygons, cage, fitted.sculpt.surface, reference=new.library.neutral, up_to=finest,
        free=free_of(fitted, step.zones), protect=keep, cage_stands=True,
    )  # fmt: skip
    return replace(fitted, head=fitted.head.with_(neutral=cage), levels=tuple(levels))
