"""Placing and moving landmarks on the head."""

from __future__ import annotations

import numpy as np

from composer.edits.landmarks import place_landmark
from composer.head.places import SurfacePoint
from composer.viewer.render.picking import Hit
from composer.viewer.session.pointing import look_up
from composer.viewer.session.stage import Stage
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool

NEAR_PX = 11.0


def place(desk: Desk, at: Point) -> Tool:
    """Take the landmark under the pointer along; where none is, put the chosen one there. One drag is one step."""
    stage = desk.stage
    name = mark_at(stage, at.x, at.y)
    fresh = not name
    if fresh:
        name = stage.landmark
    if not name:
        stage.say("Choose a landmark in the list, then press on its place.")
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
            moved_name, moved_to = moved
            stage.do_later(lambda project: place_landmark(project, moved_name, moved_to), "Laying the regions again")
    except Abandoned:
        stage.moved_mark = None


def mark_at(stage: Stage, x: float, y: float) -> str:
    """The landmark whose mark lies under a place of the window, "" where none does."""
    session, eye = stage.session, stage.eye
    marks = session.head.landmarks if session is not None else None
    if session is None or eye is None or not marks:
        return ""
    left, top, _, _ = stage.view
    names = list(marks.points)
    places = np.array([marks.position(name, session.positions()) for name in names])
    seen, _ = eye.project(places, *stage.view_size)
    away = np.hypot(seen[:, 0] + left - x, seen[:, 1] + top - y)
    nearest = int(np.argmin(away)) if len(away) else -1
    return names[nearest] if nearest >= 0 and away[nearest] <= NEAR_PX else ""


def surface_point(hit: Hit) -> SurfacePoint:
    """The place of a hit as a point of the triangle of its three heaviest corners."""
    order = np.argsort(-np.asarray(hit.bary), kind="stable")[:3]
    corners = np.asarray(hit.corners)[order]
    weight = np.asarray(hit.bary, dtype=np.float64)[order]
    weight = weight / weight.sum()
    a, b, c = (int(v) for v in corners)
    return SurfacePoint((a, b, c), (float(weight[0]), float(weight[1]), float(weight[2])))


def put_there(stage: Stage, name: str, hit: Hit | None) -> None:
    """Show a landmark at a place of the skin while it is dragged; elsewhere it stays where it was."""
    if hit is not None and hit.part == "skin":
        stage.moved_mark = (name, surface_point(hit))


PLACE_MARK = HeadTool(
    "place a landmark", "left", "", lambda desk: desk.stage.place == "marks", place,
    "press or drag among the landmarks", "places or moves one",
)  # fmt: skip
