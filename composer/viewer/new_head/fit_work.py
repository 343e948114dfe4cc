"""What is done for a new head beside the frame loop: the fit, relaxing, and carrying the document onto it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.carried import carry_document
from composer.document.evaluated import EvaluatedDocument
from composer.errors import MoueError
from composer.fitting.chain import FittedHead, fit_head
from composer.fitting.fit_state import FitOptions
from composer.fitting.fitted_files import write_fitted
from composer.fitting.relax import relax
from composer.fitting.skin import Skin
from composer.head.landmarks import Landmarks
from composer.progress import Progress
from composer.viewer.new_head.new_head import NewHead


def fit_new(
    new: NewHead, level: int | None, protect: NDArray | None, turn_over: bool, progress: Progress
) -> FittedHead:
    """The whole fit of the library onto the sculpt, through the landmarks that are placed. MoueError as `fit_head`."""
    marks = new.library.landmarks or Landmarks()
    options = FitOptions(
        up_to=level, protect=protect, turn_over=turn_over, any_size=True, name=new.sculpt.name, where=new.sculpt.path
    )
    return fit_head(
        new.library, new.sculpt.neutral, new.sculpt.polygons, marks, new.landmarks(), options, progress=progress
    )


def relax_new(new: NewHead, fitted: FittedHead, mask: NDArray | None, progress: Progress) -> NDArray[np.float64]:
    """(n, 3) mm, the fitted cage with loops shaped more like the library's where the mask (n,) is above 0; every other
    vertex is unchanged, bit for bit. Raises MoueError before there is a fit."""
    if new.cage is None:
        raise MoueError("there is no fit to relax yet")
    progress(0.2, "relaxing")
    skin = Skin.of(new.library)
    cage = np.array(new.cage)
    cage[skin.vertices] = relax(
        skin.polygons, cage[skin.vertices], fitted.sculpt.surface, new.library.neutral[skin.vertices],
        None if mask is None else mask[skin.vertices], free=fitted.free[skin.vertices],
    )  # fmt: skip
    return cage


def carry_new(evaluated: EvaluatedDocument, new: NewHead, fitted: FittedHead, folder: Path, progress: Progress) -> Path:
    """The open document carried onto the fitted head: `folder` gets the fit in `fit`, and beside it the new document
    with its library. The path of that document. Raises MoueError where it cannot be written."""
    if new.cage is None:
        raise MoueError("there is no fit to carry onto yet")
    untouched = np.array_equal(new.cage, fitted.head.neutral)
    head = fitted.head if untouched else fitted.head.with_(neutral=_kept(new.cage))
    if folder.exists() and any(folder.iterdir()):
        raise MoueError("is there already and not empty", folder, hint="give a new folder")
    progress(0.0, "writing the fit")
    write_fitted(
        fitted if untouched else _with_cage(fitted, head.neutral), folder.with_name(f"{folder.name}_fit"), "mm"
    )
    finer = {level.k: level.positions for level in fitted.levels if level.k > 0 and untouched}
    project = carry_document(
        evaluated, head, folder, finer=finer, progress=lambda f, words: progress(0.1 + 0.9 * f, words)
    )
    return project.path


def _kept(cage: NDArray) -> NDArray[np.float64]:
    held = np.array(cage, dtype=np.float64)
    held.setflags(write=False)
    return held


def _with_cage(fitted: FittedHead, cage: NDArray) -> FittedHead:
    """The fit with a cage that was relaxed since, without its finer levels."""
    return FittedHead(
        fitted.head.with_(neutral=cage), (), fitted.free, fitted.rejected, fitted.sculpt, fitted.pairs, fitted.aligned,
        fitted.report, fitted.off,
    )  # fmt: skip
