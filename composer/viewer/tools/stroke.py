"""A stroke of the brush, from press to release."""

from __future__ import annotations

import math

from composer.viewer.session.painting import Painting
from composer.viewer.session.pointing import look_up
from composer.viewer.session.shared_ground import tell_shared
from composer.viewer.session.stage import Stage
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool

SPACING = 0.3
"""How far apart dabs fall, of the brush's radius as it is seen."""
MOST_BETWEEN = 24


def paint(desk: Desk, at: Point) -> Tool:
    """Paint, erase or soften the chosen region's mask. One stroke is one step; taken back, it leaves no trace."""
    stage, painting = desk.stage, desk.painting
    session, picker = stage.session, stage.picker
    assert session is not None and picker is not None
    hit = look_up(stage, at.x, at.y)
    stage.words = [words for words in stage.words if words.press is None]
    begun = (
        hit is not None
        and hit.part == "skin"
        and stage.guard(lambda: painting.begin(session, picker, hit, at.pressure))
    )
    last = at
    try:
        while True:
            point = yield
            if point.released:
                break
            if begun:
                for between in _between(stage, painting, last, point):
                    _fall(stage, painting, between)
            last = point
        if begun and stage.guard(lambda: painting.end(session)):
            tell_shared(stage, painting)
    except Abandoned:
        painting.abandon()


def _between(stage: Stage, painting: Painting, last: Point, point: Point) -> list[Point]:
    """Places from the last to the next, no further apart than the brush's spacing."""
    eye = stage.eye
    if eye is None:
        return [point]
    mm = 2.0 * eye.distance * math.tan(math.radians(eye.lens) / 2.0) / max(stage.view[3], 1.0)
    step = max(SPACING * painting.radius_mm / mm, 2.0)
    count = min(max(int(math.hypot(point.x - last.x, point.y - last.y) / step), 1), MOST_BETWEEN)
    return [
        Point(
            last.x + (point.x - last.x) * i / count, last.y + (point.y - last.y) * i / count,
            pressure=last.pressure + (point.pressure - last.pressure) * i / count,
        )
        for i in range(1, count + 1)
    ]  # fmt: skip


def _fall(stage: Stage, painting: Painting, point: Point) -> None:
    session, eye = stage.session, stage.eye
    assert session is not None and eye is not None
    left, top, _, _ = stage.view
    hit = painting.pick(*eye.ray(point.x - left, point.y - top, *stage.view_size))
    if hit is not None:
        painting.dab(session, hit, point.pressure)


def _ready(desk: Desk) -> bool:
    session = desk.stage.session
    return desk.stage.place == "paint" and session is not None and desk.painting.ready_for(session)


STROKE = HeadTool("stroke", "left", "", _ready, paint)
