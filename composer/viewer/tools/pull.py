"""Pull a point of the face, and a few weights follow: those that bring it there while the rest stays whole."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from composer.document.project import Project, Region
from composer.edits.spots import RADII_MM, spots_about, with_spots
from composer.head.spots import spot_on
from composer.mixing.pull.pull import Pull, Pulled
from composer.mixing.recipe import Recipe
from composer.viewer.render.picking import Hit
from composer.viewer.session.held import Held
from composer.viewer.session.pointing import look_up, region_at
from composer.viewer.session.stage import Stage
from composer.viewer.tools.carry_mark import surface_point
from composer.viewer.tools.desk import Desk, PullReading
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool

HARDLY, ALL_THE_WAY = 0.2, 0.95
"""Below the first fraction of a pull the place hardly moves that way; from the second on it has arrived, and nothing is
said. Design choices, no source."""
LEAST_MM = 1.0
"""Of shorter pulls nothing is said, mm. A design choice, no source."""


@dataclass
class _Grip:
    """A place taken hold of: the pull, the recipe before, the spots that it may add, and the recipe now."""

    pull: Pull
    recipe: Recipe
    spots: list[Region]
    held: Held
    used: list[Region] = field(default_factory=list)
    now: Recipe | None = None

    def to(self, goal: NDArray[np.float64]) -> Pulled:
        """Pull the place to a goal (3,) mm, and note the spots in use."""
        pulled = self.pull.to(goal)
        self.now = _with_hidden(pulled.recipe, self.recipe, self.held)
        self.used += [spot for spot in self.spots if spot.name in pulled.recipe.regions and spot not in self.used]
        return pulled


def pull(desk: Desk, at: Point) -> Tool:
    """The point under the pointer follows it as far as the skin holds; one pull is one step."""
    stage = desk.stage
    session, eye, reading = stage.opened, stage.eye, desk.pulling
    desk.trying.stop(session)
    hit = look_up(stage, at.x, at.y)
    grips: list[_Grip] = []
    if hit is not None and eye is not None and session.recipe_name:
        stage.guard(lambda: grips.append(_take_hold(stage, hit)))
    grip = grips[0] if grips else None
    if grip is None or not grip.pull.moves:
        stage.say(_refusal(stage, hit))
        grip = None
    try:
        while True:
            point = yield
            if point.released:
                break
            if grip is not None and eye is not None and hit is not None:
                mm = eye.pixel_mm(stage.view[3]) * hit.distance / max(eye.distance, 1e-9)
                right, up, _ = eye.axes
                goal = grip.pull.start + mm * ((point.x - at.x) * right + (at.y - point.y) * up)
                stage.guard(partial(_follow, stage, grip, goal, point, reading))
        if grip is not None and grip.now is not None:
            # Spots that were in use only on the way go.
            stage.guard(partial(session.preview, partial(_edited, grip.spots, grip.now)))
        session.commit()
    except Abandoned:
        session.abort()
    finally:
        reading.words, reading.held = "", False


def _take_hold(stage: Stage, hit: Hit) -> _Grip:
    """The place under the pointer, ready to be pulled."""
    session, eye = stage.opened, stage.eye
    assert eye is not None
    evaluated, place, label = session.evaluated, surface_point(hit), region_at(stage, hit)
    spots = spots_about(session.project, evaluated.effective, place, label)
    masks = {s.name: spot_on(session.head, place, float(s.source["radius_mm"]), max(RADII_MM)) for s in spots}
    hidden = {name for name, said in session.project.shapes.items() if said.get("hidden")}
    apart = hidden | set(evaluated.correctives.names)
    grip = Pull(
        evaluated.mixer, session.held.shown(session.recipe), place, eye.axes,
        shapes=[shape.name for shape in session.head.expressions if shape.name not in apart], spots=masks,
        locked=lambda key: session.held.locked(key) or not session.held.shows(key), joins=evaluated.joins,
        unjoined=evaluated.spots,
    )  # fmt: skip
    if label:
        session.region = label
    return _Grip(grip, session.recipe, spots, session.held)


def _follow(stage: Stage, grip: _Grip, goal: NDArray[np.float64], point: Point, reading: PullReading) -> None:
    """Show the recipe that brings the place to the goal, and note where it came for the ghost."""
    session, eye = stage.opened, stage.eye
    assert eye is not None
    pulled = grip.to(goal)
    assert grip.now is not None
    session.preview(partial(_edited, grip.used, grip.now))
    x, y = eye.project(pulled.point, *stage.view_size)[0][0]
    reading.held, reading.goal = True, (point.x, point.y)
    reading.reached = (stage.view[0] + float(x), stage.view[1] + float(y))
    reading.words = way_words(pulled)


def way_words(pulled: Pulled) -> str:
    """What to say of a pull that does not arrive: how much of the way there is, and why; "" where it arrives."""
    if pulled.asked_mm < LEAST_MM or pulled.got_mm >= ALL_THE_WAY * pulled.asked_mm:
        return ""
    way = f"{max(pulled.got_mm, 0.0):.1f} of {pulled.asked_mm:.1f} mm"
    if pulled.got_mm < HARDLY * pulled.asked_mm:
        return f"hardly moves this way: {way}"
    return f"any further the skin would tear: {way}" if pulled.held_back else f"no shape goes further: {way}"


def _edited(spots: list[Region], recipe: Recipe, project: Project) -> Project:
    return with_spots(project, spots, recipe)


def _with_hidden(pulled: Recipe, before: Recipe, held: Held) -> Recipe:
    """The pulled recipe, in which cells that solo or mute hide have the weights that they had before."""
    if not held.hides:
        return pulled
    known = {cell.key: cell for cell in before.cells if not held.shows(cell.key)}
    return pulled.with_(cells=tuple(known.get(cell.key, cell) for cell in pulled.cells))


def _refusal(stage: Stage, hit: Hit | None) -> str:
    """Why a press takes hold of nothing."""
    if not stage.opened.recipe_name:
        return "There is no recipe to pull: make one first."
    return "There is nothing to pull there." if hit is None else "No shape of the library moves that place."


PULL = HeadTool(
    "pull", "left", "Ctrl", lambda desk: desk.stage.place == "mix", pull,
    "Ctrl and drag a point of the face", "a few weights follow it; spots hold what regions cannot",
)  # fmt: skip
