"""Placing the library's landmarks on a sculpt, and points along its landmark curves."""

from __future__ import annotations

import numpy as np

from composer.head.places import resolve
from composer.viewer.session.pointing import look_up
from composer.viewer.session.stage import Stage
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool
from composer.viewer.tools.place_mark import NEAR_PX, put_there


def place_pair(desk: Desk, at: Point) -> Tool:
    """Take the landmark under the pointer along; where none is, put the chosen one there and choose the next one that
    has no place yet. While a curve is chosen every press is one more point of it. One drag is one step."""
    stage, new = desk.stage, desk.stage.new_head
    assert new is not None
    name = "" if stage.landmark in new.lines else pair_at(stage, at.x, at.y)
    fresh = not name
    name = name or stage.landmark
    if name not in new.names and name not in new.lines:
        stage.say("Choose a landmark in the list, then press on its place.")
        name = ""
    stage.landmark = name or stage.landmark
    try:
        if fresh and name:
            put_there(stage, name, look_up(stage, at.x, at.y))
        while True:
            point = yield
            if point.released:
                break
            if name:
                put_there(stage, name, look_up(stage, point.x, point.y))
        moved, stage.moved_mark = stage.moved_mark, None
        if moved is not None:
            new.place(*moved)
            if fresh and name in new.names:
                stage.landmark = new.next_asked() or name
    except Abandoned:
        stage.moved_mark = None


def pair_at(stage: Stage, x: float, y: float) -> str:
    """The landmark of the sculpt whose mark lies under a place of the window, "" where none does."""
    new, eye = stage.new_head, stage.eye
    if new is None or eye is None or not new.marks.places:
        return ""
    names = list(new.marks.places)
    places = np.array([resolve(new.marks.places[name], new.sculpt.neutral) for name in names])
    seen, _ = eye.project(places, *stage.view_size)
    away = np.hypot(seen[:, 0] + stage.view[0] - x, seen[:, 1] + stage.view[1] - y)
    nearest = int(np.argmin(away))
    return names[nearest] if away[nearest] <= NEAR_PX else ""


PLACE_PAIR = HeadTool(
    "place a landmark of the sculpt", "left", "",
    lambda desk: desk.stage.place == "new" and desk.stage.new_head is not None, place_pair,
)  # fmt: skip
