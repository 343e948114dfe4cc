"""Targets and sculpts brought into the open document: matched by weights, or accepted as a fix of a recipe."""

from __future__ import annotations

from pathlib import Path

from composer.document.project import Project
from composer.document.ready import Ready
from composer.edits.accept import Accepted, accept
from composer.edits.match import Matcher
from composer.edits.recipes import add_recipe, free_recipe_name
from composer.edits.sculpt import check_place, read_sculpt
from composer.errors import MoueError
from composer.mixing.match import Bounds
from composer.mixing.recipe import Recipe
from composer.progress import Progress
from composer.viewer.stage import Stage

SPARSE = 0.2
"""How sparse a match in the window is: few cells that a person can read, at little cost in what is reached."""


def match_target(stage: Stage, path: Path) -> None:
    """A recipe whose weights reproduce a target of this topology, made beside the frame loop and chosen."""
    session = stage.opened
    ready, base = session.ready, session.history.committed

    def matched(progress: Progress) -> tuple[Recipe, float, float]:
        progress(0.1, "reading")
        sculpt = read_sculpt(ready.head, path, 0, None, path.stem)
        check_place(sculpt, ready.head.neutral, ready.head.polygons, ready.head.diagonal, ready.head.unit)
        progress(0.4, "matching")
        found = Matcher(ready).solve(sculpt.positions, bounds=Bounds(sparse=SPARSE))
        taken = {recipe.name for recipe in base.recipes}
        name = free_recipe_name(base, path.stem) if path.stem in taken else path.stem
        return Recipe(name, tuple(found.cells)), found.explained, found.p50_p95_most[1]

    def done(made: tuple[Recipe, float, float]) -> None:
        recipe, explained, p95 = made
        if stage.session is session and stage.do(lambda project: add_recipe(project, recipe)):
            session.choose_recipe(recipe.name)
            words = f"{len(recipe.cells)} cells reach {100 * explained:.0f} percent of {path.stem}; "
            stage.say(words + f"95 percent of the skin lies within {p95:.2f} mm.", "done")

    stage.work.begin(f"Matching {path.name}", matched, done)


def accept_sculpt(stage: Stage, path: Path) -> None:
    """The sculpted bake of the open recipe taken back as a corrective of it, beside the frame loop."""
    session = stage.opened
    ready, name = session.ready, session.recipe_name
    if not name:
        raise MoueError("choose the recipe whose bake was sculpted on", path)

    def accepted(progress: Progress) -> Accepted:
        progress(0.2, "reading")
        sculpt = read_sculpt(ready.head, path)
        progress(0.5, "splitting into cage and detail")
        return accept(ready, name, sculpt)

    def done(made: Accepted) -> None:
        if stage.session is not session:
            return
        if session.history.committed is not ready.project:
            stage.say("The document was edited meanwhile; take the sculpt back once more.", "wrong")
            return
        project, after = _both(made)
        if stage.guard(lambda: session.take(project, after)):
            stage.say(f"{made.shape} comes in wherever the cells of {name} do; {made.left_mm:.4f} mm are left.", "done")

    stage.work.begin(f"Taking back {path.name}", accepted, done)


def _both(made: Accepted) -> tuple[Project, Ready]:
    return made.project, made.ready
