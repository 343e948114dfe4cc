"""A stroke on the fitted library: evens out its loops, or protects places from the next fit's projection."""

from __future__ import annotations

import numpy as np

from composer.geometry.surface import Surface
from composer.viewer.new_head.new_head import LIBRARY, NewHead
from composer.viewer.render.picking import Hit
from composer.viewer.session.pointing import look_up
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool
from masks.paint import Brush, Painter, Stroke

HARDNESS = 0.3
"""Share of the radius that takes the whole strength; chosen by eye."""


def brush_fit(desk: Desk, at: Point) -> Tool:
    """Cover the library's vertices under the brush; the release relaxes or protects them. Taken back, it leaves no
    trace."""
    stage, fitting, new = desk.stage, desk.fitting, desk.stage.new_head
    assert new is not None and new.cage is not None
    surface = Surface(new.library.polygons, new.cage)
    values = np.zeros(surface.n_vertices)
    if fitting.brush == "protect" and fitting.protect is not None:
        values = fitting.protect
    stroke = Stroke(Painter(surface), values, Brush(fitting.radius_mm, 1.0, HARDNESS))
    _dab(new, stroke, look_up(stage, at.x, at.y))
    try:
        while True:
            point = yield
            if point.released:
                break
            _dab(new, stroke, look_up(stage, point.x, point.y))
        if fitting.brush == "protect":
            fitting.protect = stroke.values.copy()
            stage.say(f"The next fit leaves {int((fitting.protect > 0.5).sum())} vertices where they are.")
        elif stroke.cover.any():
            fitting.relax(stage, stroke.cover.copy())
    except Abandoned:
        return


def _dab(new: NewHead, stroke: Stroke, hit: Hit | None) -> None:
    if hit is not None and hit.part == LIBRARY:
        stroke.dab(np.asarray(hit.corners) - new.n_sculpt, hit.bary)


FIT_BRUSH = HeadTool(
    "fit brush", "left", "", lambda desk: desk.stage.place == "new" and desk.fitting.brushing, brush_fit
)
