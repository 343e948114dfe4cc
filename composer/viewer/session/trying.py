"""Trying things out: sweep a cell, travel between recipes, random combinations, A and B, a look at the neutral.

A trial shows positions in place of the recipe's pose and changes nothing; what a trial found can be kept as a recipe.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.document.project import Project
from composer.edits.recipes import add_recipe, free_recipe_name
from composer.edits.trials import Travel, eased, random_recipe, weights_between, with_weight
from composer.mixing.recipe import Cell, CellKey, Recipe
from composer.viewer.session.joining import new_join
from composer.viewer.session.ready_contact import pose_at_once
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage

MOST_KEPT = 24
"""How many random combinations the gallery keeps. A design choice, no source."""
SLOW_SECONDS = 0.15
"""A pose that takes longer is too slow for a movement. A design choice, no source."""


@dataclass
class Trial:
    """A movement back and forth: `kind` "sweep" or "travel", at `t` in [0, 1], `seconds` from end to end. `join` is
    "linear" once the recipe's own has been too slow for a picture more than once."""

    kind: str
    seconds: float = 2.0
    t: float = 0.0
    running: bool = True
    key: CellKey | None = None
    low: float = 0.0
    high: float = 1.0
    travel: Travel | None = None
    ends: tuple[Recipe, Recipe] | None = None
    recipe: str = ""
    join: Literal["", "linear"] = ""
    slow: int = 0


@dataclass
class Trying:
    """What is being tried; `a` and `b` are recipes kept for comparing, `seed` the next random combination."""

    trial: Trial | None = None
    a: Recipe | None = None
    b: Recipe | None = None
    seed: int = 1
    found: Recipe | None = None
    gallery: tuple[Recipe, ...] = ()
    pace: float = 2.0
    ease: float = 1.0
    cells: int = 4
    limit: float = 0.8
    to: str = ""
    _began: float = 0.0
    _of: Project | None = None
    _peek: str = ""

    def sweep(self, stage: Stage, key: CellKey, low: float = 0.0, high: float = 1.0) -> None:
        """Move one cell back and forth between two weights."""
        self.trial, self.found = Trial("sweep", self.pace, key=key, low=low, high=high), None
        self.trial.recipe = stage.opened.recipe_name
        self._began = stage.clock()

    def travel(self, stage: Stage, start: str, end: str) -> None:
        """Move back and forth between two recipes, every vertex on a straight line."""
        session = stage.opened
        project = session.project
        rest = session.head.neutral
        ends = [pose_at_once(session.evaluated, project.recipe(name)) - rest for name in (start, end)]
        travel = Travel(*ends)
        self.trial, self.found = Trial("travel", self.pace, travel=travel, recipe=session.recipe_name), None
        self.trial.ends = project.recipe(start), project.recipe(end)
        self._began = stage.clock()

    def random(self, session: Session) -> None:
        """Another combination within the limits, the same for the same seed, shown and kept in the gallery."""
        names = [r.name for r in session.project.regions]
        entries = session.project.shapes
        shapes = [one.name for one in session.head.expressions if not entries.get(one.name, {}).get("hidden")]
        self.trial = None
        cells = max(min(self.cells, len(names) * len(shapes)), 1)
        name = f"chance {self.seed}"
        found = random_recipe(self.seed, names, shapes, cells, (0.0, self.limit), session.linked, name)
        self.seed += 1
        self.gallery = (*self.gallery, found.with_(join=new_join(session), contact=True))[-MOST_KEPT:]
        self.look_at(session, self.gallery[-1])

    def look_at(self, session: Session, found: Recipe) -> None:
        """Show a random combination of the gallery. Raises MoueError where it can no longer be mixed."""
        pose = pose_at_once(session.evaluated, found)
        self.trial, self.found, self._of = None, found, session.project
        session.show(pose)

    def by_chance(self, name: str) -> Recipe | None:
        """The random combination of this name, None where the gallery has none."""
        return next((each for each in self.gallery if each.name == name), None)

    def on_board(self, session: Session) -> Recipe:
        """The recipe whose weights the face shows now: that of a movement where it is, of chance, or the open one."""
        if self.found is not None:
            return self.found
        trial = self.trial
        if trial is None or trial.recipe != session.recipe_name:
            return session.recipe
        if trial.kind == "sweep" and trial.key is not None:
            region, shape, mirrored = trial.key
            weight = trial.low + (trial.high - trial.low) * trial.t
            return with_weight(session.recipe, Cell(region, shape, weight, mirrored))
        if trial.ends is None:
            return session.recipe
        return weights_between(*trial.ends, eased(trial.t, self.ease))

    def keep(self, stage: Stage) -> None:
        """Make a recipe of the random combination that is shown."""
        session, found = stage.session, self.found
        if session is None or found is None:
            return
        name = free_recipe_name(session.project, "found")
        if stage.do(lambda p: add_recipe(p, found.with_(name=name)), f"Kept as {name}."):
            self.gallery = tuple(each for each in self.gallery if each is not found)
            self.stop(session)
            session.choose_recipe(name)

    def stop(self, session: Session) -> None:
        """Back to the recipe's own pose."""
        self.trial, self.found, self._peek = None, None, ""
        session.show(None)

    def peek(self, session: Session, what: str) -> None:
        """Hold: look at the "neutral", at the recipe as it was "before" the last step, at "a", at "b" or at the "other"
        of A and B; "" lets go."""
        if what == self._peek:
            return
        self._peek = what
        if not what:
            session.show(None)
        elif what == "neutral":
            session.show(session.head.neutral)
        elif what == "before":
            earlier = session.evaluated.again(session.history.before)
            old = next((r for r in earlier.project.recipes if r.name == session.recipe_name), Recipe("none"))
            session.show(pose_at_once(earlier, old))
        else:
            recipe = {"a": self.a, "b": self.b}.get(what, self.a or self.b)
            if recipe is not None:
                session.show(pose_at_once(session.evaluated, recipe))

    @property
    def running(self) -> bool:
        """Whether a movement is running."""
        return self.trial is not None and self.trial.running

    @property
    def peeking(self) -> bool:
        """Whether something is looked at only as long as it is held."""
        return bool(self._peek)

    def step(self, stage: Stage) -> bool:
        """Move the trial on; whether one runs. An edit ends a random combination, another recipe a movement."""
        session, trial = stage.session, self.trial
        if session is None:
            return False
        if self.found is not None and session.project is not self._of:
            self.stop(session)
        if trial is None:
            return False
        if trial.recipe != session.recipe_name:
            self.stop(session)
            return False
        if trial.running:
            turns = (stage.clock() - self._began) / max(trial.seconds, 0.05)
            trial.t = 1.0 - abs(turns % 2.0 - 1.0)
        session.show(self._at(session, trial))
        return trial.running

    def hold_at(self, stage: Stage, t: float) -> None:
        """Stop the movement at a place of it, t in [0, 1]."""
        if self.trial is not None:
            self.trial.running, self.trial.t = False, t

    def go_on(self, stage: Stage) -> None:
        """Continue the movement from where it is."""
        if self.trial is not None:
            self.trial.running, self.trial.seconds = True, self.pace
            self._began = stage.clock() - self.trial.t * self.pace

    def _at(self, session: Session, trial: Trial) -> NDArray:
        if trial.kind == "sweep" and trial.key is not None:
            region, shape, mirrored = trial.key
            weight = trial.low + (trial.high - trial.low) * trial.t
            recipe = session.recipe.with_(join=trial.join or session.recipe.join)
            tried = with_weight(recipe, Cell(region, shape, weight, mirrored))
            began = time.monotonic()
            pose = pose_at_once(session.evaluated, tried)
            trial.slow += time.monotonic() - began > SLOW_SECONDS
            if trial.slow > 1:  # the first frame may have to prepare the join
                trial.join = "linear"
            return pose
        assert trial.travel is not None
        return session.head.neutral + trial.travel.displacement(trial.t, self.ease)

    def difference_mm(self, session: Session) -> NDArray[np.float64] | None:
        """(n,) mm between A and B, or A and what is seen where B is not set; None without A."""
        if self.a is None:
            return None
        one = pose_at_once(session.evaluated, self.a)
        if self.b is not None:
            two = pose_at_once(session.evaluated, self.b)
        else:
            two = np.asarray(session.positions(), dtype=np.float64)
        away = one - two
        return np.sqrt(np.einsum("ij,ij->i", away, away))
