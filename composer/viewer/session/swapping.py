"""Another head in the place of the open document's head, beside the frame loop: one step, and one undo."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.edits.neutral_of_recipe import expressions_in, neutral_of_recipe
from composer.edits.swap_head import swap_head
from composer.edits.swapped import Swapped
from composer.errors import MoueError
from composer.fitting.fitted_files import FITTED, levels_beside, read_levels
from composer.formats.library import open_library
from composer.head.head import Head
from composer.progress import Progress
from composer.viewer.session.stage import Stage

SWAPPING = "Swapping the head"
MOST_TOLD = 3
"""Sentences on what did not stay that are told at once; `Stage.words` has room for no more."""
NewNeutral = tuple[Head, Mapping[int, NDArray]]
"""A head without shapes, and its positions (n_k, 3) mm at finer levels."""


def swap_in(stage: Stage, name: str, make: Callable[[EvaluatedDocument, Progress], NewNeutral]) -> None:
    """Put the head that `make` gives in the place of the open document's head, as one step.

    The library is carried onto it into heads/NAME beside the document. Edits made meanwhile are not lost: the swap is
    then told to be repeated.
    """
    session = stage.opened
    evaluated = session.evaluated

    def work(progress: Progress) -> Swapped:
        head, finer = make(evaluated, progress)
        return swap_head(evaluated, head, name=name, finer=finer, progress=lambda f, w: progress(0.2 + 0.8 * f, w))

    def done(swapped: Swapped) -> None:
        if stage.session is not session:
            return
        if session.history.committed is not evaluated.project:
            stage.say("The document was edited meanwhile, so its head is as before. Swap again.", "wrong")
            return
        session.take(swapped.project, swapped.evaluated)
        stage.place = "mix"
        stage.say(f"{name} is the document's head now; undo goes back. Kept: {swapped.kept}.", "done")
        for sentence in swapped.changed[:MOST_TOLD]:
            stage.say(sentence)

    stage.work.begin(SWAPPING, work, done, asks=True)


def swap_file(stage: Stage, path: Path) -> None:
    """Put the head in a file of the library's topology in the place of the document's head. The cage that a fit wrote
    brings the finer levels that lie beside it."""
    beside = levels_beside(path)

    def make(evaluated: EvaluatedDocument, progress: Progress) -> NewNeutral:
        progress(0.0, f"reading {path.name}")
        head = open_library(path, recognise=False)
        if not head.diagonal > 0.0:
            raise MoueError("has no size: all its vertices are at one place", path)
        return head, read_levels(evaluated.library, head.unit, beside)

    name = path.parent.name if path.name == FITTED and path.parent.name else path.stem
    if beside:
        stage.say(f"Its finer levels come along: {', '.join(place.name for place in beside)}.")
    swap_in(stage, name, make)


def make_neutral(stage: Stage, recipe: str) -> None:
    """Make the pose of a recipe the document's head."""
    used = expressions_in(stage.opened.evaluated, recipe)
    swap_in(stage, recipe, lambda evaluated, progress: neutral_of_recipe(evaluated, recipe))
    if used:
        stage.say(f"Expressions become part of the face at rest: {', '.join(used)}.")
