"""Targets and sculpts brought to the open document: compared with, matched, or accepted as a fix of a recipe."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.edits.accept import Accepted, accept
from composer.edits.match import Matcher
from composer.edits.recipes import add_recipe, free_recipe_name
from composer.edits.retouch import retouch
from composer.edits.sculpt import OtherOrder, Sculpt, check_place, read_sculpt
from composer.edits.sculpt_over_sample import read_sculpt_over
from composer.errors import MoueError
from composer.head.head import Head
from composer.mixing.match import Bounds
from composer.mixing.recipe import Recipe
from composer.progress import Progress
from composer.viewer.session.compare import TARGET
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage

SPARSE = 0.2
"""How sparse a match in the window is: few cells that a person can read, at little cost in what is reached."""


@dataclass(frozen=True)
class Wish:
    """What a match may use: `regions` and `shapes`, None for all of them; `sparse` from 0 to below 1; `symmetric`, one
    weight for both sides; weights up to `high`."""

    regions: tuple[str, ...] | None = None
    shapes: tuple[str, ...] | None = None
    sparse: float = SPARSE
    symmetric: bool = False
    high: float = 1.0


@dataclass(frozen=True)
class Reached:
    """What a match came to: the recipe, the target (n, 3) mm, and the words that say how near the recipe comes."""

    recipe: Recipe
    target: NDArray[np.float32]
    words: str
    conditioning: str


def compare_with_target(stage: Stage, path: Path) -> None:
    """The open pose beside a target of this topology, which is read beside the frame loop; nothing is edited."""
    session = stage.opened
    head = session.evaluated.head

    def read(progress: Progress) -> NDArray[np.float32]:
        progress(0.2, "reading")
        return _target(head, path).positions.astype(np.float32)

    def done(target: NDArray[np.float32]) -> None:
        if stage.session is session and session.head is head:
            session.target, stage.compare.whom = target, TARGET
            stage.compare.how = "ghost" if stage.compare.how == "off" else stage.compare.how
            stage.say(f"Compared with {path.stem}. Compare has the ways to look at both.", "done")

    stage.work.begin(f"Reading {path.name}", read, done)


def _target(head: Head, path: Path) -> Sculpt:
    """A target of a head's topology, where the head stands. Raises MoueError for any other mesh."""
    sculpt = read_sculpt(head, path, 0, None, path.stem)
    check_place(sculpt, head.neutral, head.polygons, head.diagonal, head.unit)
    return sculpt


def match_target(stage: Stage, path: Path, wish: Wish | None = None) -> None:
    """A recipe whose weights reproduce a target of this topology, made beside the frame loop and chosen; the
    remaining distance is then shown as colours on the head. By `wish`, or by all regions and shapes."""
    session = stage.opened
    evaluated, base, wish = session.evaluated, session.history.committed, wish or Wish()

    def matched(progress: Progress) -> Reached:
        progress(0.1, "reading")
        sculpt = _target(evaluated.head, path)
        progress(0.4, "matching")
        matcher = Matcher(evaluated, wish.regions, wish.shapes)
        found = matcher.solve(
            sculpt.positions, bounds=Bounds(high=wish.high, sparse=wish.sparse), symmetric=wish.symmetric
        )
        taken = {recipe.name for recipe in base.recipes}
        name = free_recipe_name(base, path.stem) if path.stem in taken else path.stem
        middle, p95, most = found.p50_p95_most
        words = (
            f"{len(found.cells)} cells reach {100 * found.explained:.0f} percent of {path.stem}. Distance to it: "
            f"median {middle:.2f} mm, 95th percentile {p95:.2f} mm, maximum {most:.2f} mm."
        )
        recipe = Recipe(name, tuple(found.cells), contact=True)
        return Reached(recipe, sculpt.positions.astype(np.float32), words, matcher.conditioning.words)

    def done(reached: Reached) -> None:
        if stage.session is session and stage.do(lambda project: add_recipe(project, reached.recipe)):
            session.choose_recipe(reached.recipe.name)
            session.target, stage.overlay = reached.target, "left"
            stage.say(reached.words, "done")
            stage.say(reached.conditioning)

    stage.work.begin(f"Matching {path.name}", matched, done)


def accept_sculpt(stage: Stage, path: Path, sample: Path | None = None) -> None:
    """Accept the sculpted bake of the open recipe as a corrective of it, beside the frame loop. `sample` is the neutral
    in whose order it was baked; where it is needed, it is asked for."""
    session = stage.opened
    evaluated, name = session.evaluated, session.recipe_name
    if not name:
        raise MoueError("choose the recipe whose bake was sculpted on")

    def accepted(progress: Progress) -> Accepted | None:
        progress(0.2, "reading")
        try:
            if sample is None:
                sculpt = read_sculpt(evaluated.head, path)
            else:
                sculpt = read_sculpt_over(evaluated, name, path, sample)
        except OtherOrder:
            return None
        progress(0.5, "splitting into cage and detail")
        return accept(evaluated, name, sculpt)

    def done(result: Accepted | None) -> None:
        if result is None:
            stage.say(f"{path.name} has another vertex order. Name the neutral in whose order it was baked.")
            heading = f"The neutral in whose order {path.name} was baked"
            stage.dialogs.path_for = (heading, "Accept", lambda place: accept_sculpt(stage, path, place))
            return
        words = f"Added the corrective {result.shape}, which comes in with the cells of {name}."
        _take(stage, session, evaluated, result, words)

    stage.work.begin(f"Accepting {path.name}", accepted, done)


def retouch_shape(stage: Stage, name: str, path: Path) -> None:
    """Put a sculpt in the place of a shape of the library, beside the frame loop."""
    session = stage.opened
    evaluated = session.evaluated

    def retouched(progress: Progress) -> Accepted:
        progress(0.2, "reading")
        sculpt = read_sculpt(evaluated.head, path, name=name)
        progress(0.5, "splitting into cage and detail")
        return retouch(evaluated, name, sculpt)

    def done(result: Accepted) -> None:
        if _take(stage, session, evaluated, result, f"{name} is the sculpt now; the library's file stays as it is."):
            for words in result.resting:
                stage.say(words)

    stage.work.begin(f"Retouching {name}", retouched, done)


def _take(stage: Stage, session: Session, evaluated: EvaluatedDocument, result: Accepted, words: str) -> bool:
    """Take an accepted sculpt into the session, where it is still what the sculpt was read for; whether it was."""
    if stage.session is not session:
        return False
    if session.history.committed is not evaluated.project:
        stage.say("The document was edited while the sculpt was read. Accept the sculpt again.", "wrong")
        return False
    if not stage.guard(lambda: session.take(result.project, result.evaluated)):
        return False
    stage.say(f"{words} Distance to the sculpt: at most {result.left_mm:.4f} mm.", "done")
    return True
