"""A stroke on the fitted library: relaxes its loops, or protects places from being projected."""

from __future__ import annotations

import numpy as np

from composer.geometry.surface import Surface
from composer.viewer.new_head import LIBRARY, NewHead
from composer.viewer.panels.fit_steps import FitSteps
from composer.viewer.picking import Hit
from composer.viewer.stage import Stage
from composer.viewer.tools.gestures import Abandoned, Point, Tool
from masks.paint import Brush, Painter, Stroke


def mend(stage: Stage, steps: FitSteps, at: Point) -> Tool:
    """Cover the library's vertices under the brush; the release does it. Taken back, nothing has happened."""
    new = stage.new_head
    assert new is not None and new.cage is not None
    surface = Surface(new.library.polygons, new.cage)
    before = np.zeros(surface.n_vertices)
    if steps.brush == "protect" and steps.protect is not None:
        before = steps.protect
    stroke = Stroke(Painter(surface), before, Brush(steps.radius_mm, 1.0, 0.3))
    _fall(new, stroke, stage.look_up(at.x, at.y))
    try:
        while True:
            point = yield
            if point.released:
                break
            _fall(new, stroke, stage.look_up(point.x, point.y))
        if steps.brush == "protect":
            steps.protect = stroke.values.copy()
            stage.say(f"{int((steps.protect > 0.5).sum())} vertices are protected from the next fit's projection.")
        elif stroke.cover.any():
            steps.relax(stage, stroke.cover.copy())
    except Abandoned:
        return


def _fall(new: NewHead, stroke: Stroke, hit: Hit | None) -> None:
    if hit is not None and hit.part == LIBRARY:
        stroke.dab(np.asarray(hit.corners) - new.n_sculpt, hit.bary)
