"""Placing the library's landmarks on a sculpt, and points along its landmark curves."""

from __future__ import annotations

import math

import numpy as np

from composer.head.places import SurfacePoint, resolve
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.session.pointing import look_up_new
from composer.viewer.session.stage import Stage
from composer.viewer.tools.carry_mark import carried_mark, nearest_mark, surface_point
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import HeadTool, Point, Tool

APART_PX = 14.0
"""Way of the pointer between the points of a curve that is drawn in one go (our choice)."""


def place_pair(desk: Desk, at: Point) -> Tool:
    """Take the landmark under the pointer along; where none is, put the chosen one there and choose the next one that
    has no place yet. While a curve is chosen a press is one more point of it, and a drag draws it on. One drag is one
    step."""
    stage, new = desk.stage, desk.stage.new_head
    assert new is not None
    if stage.landmark in new.lines:
        yield from _draw_curve(stage, new, stage.landmark, at)
        return
    name = pair_at(stage, at.x, at.y)
    fresh = not name
    name = name or stage.landmark
    if name not in new.names:
        stage.say("Choose a landmark in the list, then press on its place.")
        name = ""
    stage.landmark = name or stage.landmark
    moved = yield from carried_mark(stage, name, fresh, at)
    if moved is not None:
        new.place(*moved)
        if fresh:
            stage.landmark = new.next_asked() or name


def _draw_curve(stage: Stage, new: NewHead, name: str, at: Point) -> Tool:
    """Points of a curve on the sculpt, from the press on, a new one wherever the pointer has gone far enough."""
    line: list[SurfacePoint] = []
    last, point = at, at
    try:
        while True:
            first = not line
            if first or math.hypot(point.x - last.x, point.y - last.y) >= APART_PX:
                hit = look_up_new(stage, point.x, point.y, "sculpt")
                if hit is not None:
                    line.append(surface_point(hit))
                    stage.moved_line, last = (*new.marks.curves.get(name, ()), *line), point
            point = yield
            if point.released:
                break
        if line:
            new.draw(name, tuple(line))
    finally:
        stage.moved_line = ()


def pair_at(stage: Stage, x: float, y: float) -> str:
    """The landmark of the sculpt whose mark lies under a place of the window, "" where none does."""
    new = stage.new_head
    if new is None or not new.marks.places:
        return ""
    names = list(new.marks.places)
    places = np.array([resolve(new.marks.places[name], new.sculpt.neutral) for name in names])
    return nearest_mark(stage, names, places, x, y)


PLACE_PAIR = HeadTool(
    "place a landmark of the sculpt", "left", "",
    lambda desk: desk.stage.place == "new" and desk.stage.new_head is not None, place_pair,
)  # fmt: skip
