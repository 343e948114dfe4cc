"""Pull a point of the face, and the weights follow: those that bring it there by as little change as they can."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from composer.document.project import Project
from composer.edits.recipes import replace_recipe
from composer.mixing.match_drag import Drag
from composer.mixing.recipe import Cell, Recipe
from composer.viewer.render.picking import Hit
from composer.viewer.session.pointing import look_up
from composer.viewer.session.session import Session
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool
from composer.viewer.tools.place_mark import surface_point

MOST_SHAPES, LEAST_MM, LEAST_MASK, LEAST_WEIGHT = 12, 0.3, 0.05, 0.005


def pull(desk: Desk, at: Point) -> Tool:
    """The regions under the point follow, by the shapes that move it most; locked cells stay as they are."""
    stage = desk.stage
    session, eye = stage.opened, stage.eye
    desk.trying.stop(session)
    hit = look_up(stage, at.x, at.y)
    drag, recipe, start = None, session.recipe, np.zeros(3)
    if hit is not None and eye is not None and session.recipe_name:
        regions, shapes = _regions(session, hit), _shapes(session, hit)
        if regions and shapes:
            drag = Drag(session.evaluated.mixer, regions, shapes, [surface_point(hit)])
            start = np.asarray(hit.point, dtype=np.float64)
            session.region = regions[0]
    if drag is None:
        stage.say("Nothing of the library moves that place within a region; make a recipe first where there is none.")
    try:
        while True:
            point = yield
            if point.released:
                break
            if drag is not None and eye is not None and hit is not None:
                mm = eye.pixel_mm(stage.view[3]) * hit.distance / max(eye.distance, 1e-9)
                right, up, _ = eye.axes
                to = start + mm * ((point.x - at.x) * right + (at.y - point.y) * up)
                stage.guard(partial(_follow, session, recipe, drag, to))
        session.commit()
    except Abandoned:
        session.abort()


def _follow(session: Session, recipe: Recipe, drag: Drag, to: NDArray[np.float64]) -> None:
    """Preview the recipe whose weights bring the point to (3,) mm."""
    locked = [key for key in drag.keys if session.held.locked(key)]
    weights = drag.weights(recipe, to[None], locked)
    cells = {cell.key: cell for cell in recipe.cells}
    for key, weight in weights.items():
        if key in cells or abs(weight) >= LEAST_WEIGHT:
            cells[key] = Cell(key[0], key[1], round(float(weight), 4), key[2])
    pulled = recipe.with_(cells=tuple(cells.values()))

    def edit(project: Project) -> Project:
        return replace_recipe(project, recipe.name, pulled)

    session.preview(edit)


def _regions(session: Session, hit: Hit) -> list[str]:
    """The regions that have something of the place, most first."""
    corners, bary = np.asarray(hit.corners), np.asarray(hit.bary)
    masks = session.evaluated.effective
    weights = {r.name: float(masks[r.name][corners] @ bary) for r in session.project.regions}
    return sorted((name for name, mask in weights.items() if mask > LEAST_MASK), key=lambda name: -weights[name])


def _shapes(session: Session, hit: Hit) -> list[str]:
    """The shapes that move the place most."""
    corners, bary = np.asarray(hit.corners), np.asarray(hit.bary)
    entries = session.project.shapes
    moved = {
        shape.name: float(np.linalg.norm(bary @ shape.delta[corners]))
        for shape in session.head.expressions
        if not entries.get(shape.name, {}).get("hidden")
    }
    names = sorted((name for name, mm in moved.items() if mm > LEAST_MM), key=lambda name: -moved[name])
    return names[:MOST_SHAPES]


PULL = HeadTool(
    "pull", "left", "Ctrl", lambda desk: desk.stage.place == "mix", pull,
    "Ctrl and drag a point of the face", "the weights follow it",
)  # fmt: skip
