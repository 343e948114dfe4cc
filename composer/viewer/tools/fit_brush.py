"""A stroke on the fitted library: evens out its loops, or paints a zone for the fit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.symmetry import pairs_of
from composer.viewer.new_head.new_head import NOW
from composer.viewer.render.picking import Hit
from composer.viewer.session.pointing import look_up_new
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool
from masks.paint import Brush, Kind, Painter, Stroke

HARDNESS = 0.3
"""Share of the radius that takes the whole strength; chosen by eye."""


def brush_fit(desk: Desk, at: Point) -> Tool:
    """Cover the library's vertices under the brush; the release evens out their loops, or adds them to the zone that is
    chosen, or takes them out of it. Taken back, it leaves no trace."""
    stage, fitting, new = desk.stage, desk.fitting, desk.stage.new_head
    assert new is not None and new.cage_surface is not None
    new.look_at(NOW)
    evens = fitting.tool == "even"
    zone = None if evens else getattr(new.zones, fitting.tool)
    before = np.zeros(new.library.n_vertices) if zone is None else zone
    kind: Kind = "erase" if fitting.erasing and not evens else "paint"
    brush = Brush(fitting.radius_mm, 1.0, HARDNESS)
    stroke = Stroke(new.cage_surface.derived(Painter), before, brush, kind)
    partner = pairs_of(new.library) if fitting.mirrored else None
    point = at
    try:
        while True:
            _dab(stroke, look_up_new(stage, point.x, point.y, "library"))
            stage.painted_zone = _both_sides(stroke, partner)
            point = yield
            if point.released:
                break
        painted, stage.painted_zone = stage.painted_zone, None
        if not stroke.cover.any() or painted is None:
            stage.say("Press on the fitted library.")
        elif evens:
            fitting.even_out(stage, painted)
        else:
            fitting.paint(stage, painted)
    except Abandoned:
        stage.painted_zone = None


def _dab(stroke: Stroke, hit: Hit | None) -> None:
    if hit is not None:
        stroke.dab(hit.corners, hit.bary)


def _both_sides(stroke: Stroke, partner: NDArray | None) -> NDArray[np.float64]:
    """(n,) the mask that a stroke has made, with its mirror image where `partner` (n,) says which vertices are one."""
    if partner is None:
        return stroke.values.copy()
    change = stroke.values - stroke.before
    known = partner >= 0
    other = np.zeros_like(change)
    other[known] = change[partner[known]]
    return stroke.before + np.where(np.abs(other) > np.abs(change), other, change)


FIT_BRUSH = HeadTool(
    "fit brush", "left", "", lambda desk: desk.stage.place == "new" and desk.fitting.brushing, brush_fit
)
