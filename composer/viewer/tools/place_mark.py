"""Placing and moving landmarks on the head."""

from __future__ import annotations

import numpy as np

from composer.edits.landmarks import place_landmark
from composer.viewer.session.stage import Stage
from composer.viewer.tools.carry_mark import carried_mark, nearest_mark
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import HeadTool, Point, Tool


def place(desk: Desk, at: Point) -> Tool:
    """Take the landmark under the pointer along; where none is, put the chosen one there. One drag is one step."""
    stage = desk.stage
    name = mark_at(stage, at.x, at.y)
    fresh = not name
    name = name or stage.landmark
    if not name:
        stage.say("Choose a landmark in the list, then press on its place.")
    stage.landmark = name
    moved = yield from carried_mark(stage, name, fresh, at)
    if moved is not None:
        moved_name, moved_to = moved
        stage.do_later(lambda project: place_landmark(project, moved_name, moved_to), "Laying the regions again")


def mark_at(stage: Stage, x: float, y: float) -> str:
    """The landmark whose mark lies under a place of the window, "" where none does."""
    session = stage.session
    marks = session.head.landmarks if session is not None else None
    if session is None or not marks:
        return ""
    names = list(marks.points)
    places = np.array([marks.position(name, session.positions()) for name in names])
    return nearest_mark(stage, names, places, x, y)


PLACE_MARK = HeadTool(
    "place a landmark", "left", "", lambda desk: desk.stage.place == "marks", place,
    "press or drag among the landmarks", "places or moves one",
)  # fmt: skip
