"""Placing a reference picture by hand: dragged within it moves, dragged at a corner it grows about its middle."""

from __future__ import annotations

from math import hypot

from composer.document.reference_picture import LEAST, MOST
from composer.edits.references import place_reference
from composer.errors import MoueError
from composer.viewer.session.reference_pictures import box_in_view
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool

NEAR = 22.0
"""How near to a corner a press sizes the picture, in points at scale 1."""


def place(desk: Desk, at: Point) -> Tool:
    """Move or size the picture that is being placed, as one step."""
    stage = desk.stage
    session, name = stage.opened, stage.references.placing
    box = box_in_view(stage, name)
    one = next((each for each in session.project.references if each.name == name), None)
    if box is None or one is None:
        return
    left, top, right, foot = box
    corner = min(hypot(at.x - x, at.y - y) for x in (left, right) for y in (top, foot))
    sizes = corner < NEAR * stage.settings.scale
    if not sizes and not (left <= at.x <= right and top <= at.y <= foot):
        return
    middle, tall = ((left + right) / 2, (top + foot) / 2), max(stage.view[3], 1.0)
    began = max(hypot(at.x - middle[0], at.y - middle[1]), 1.0)
    try:
        while True:
            point = yield
            if sizes:
                share = hypot(point.x - middle[0], point.y - middle[1]) / began
                placed = one.middle, min(max(one.height * share, LEAST), MOST)
            else:
                across, up = (point.x - at.x) / tall, (at.y - point.y) / tall
                placed = (one.middle[0] + across, one.middle[1] + up), one.height
            stage.guard(lambda placed=placed: session.preview(lambda p: place_reference(p, name, *placed)))  # type: ignore[misc]
            if point.released:
                session.commit()
                return
    except (Abandoned, MoueError):
        session.abort()


def _applies(desk: Desk) -> bool:
    stage = desk.stage
    return stage.place != "new" and bool(stage.references.placing)


PLACE_REFERENCE = HeadTool(
    "place a reference", "left", "", _applies, place,
    "drag a reference that is being placed", "moves it; at a corner, its size",
)  # fmt: skip
