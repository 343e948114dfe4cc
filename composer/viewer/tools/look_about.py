"""Turning and moving the head before the eye, in every place."""

from __future__ import annotations

from collections.abc import Callable

from composer.viewer.render.camera import Eye
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool


def turn(desk: Desk, at: Point) -> Tool:
    """Orbit while it is dragged."""
    return _dragged(desk, lambda eye, p: eye.orbit(p.dx, p.dy))


def move(desk: Desk, at: Point) -> Tool:
    """Pan while it is dragged."""
    return _dragged(desk, lambda eye, p: eye.pan(p.dx, p.dy, desk.stage.view[3]))


def _dragged(desk: Desk, step: Callable[[Eye, Point], Eye]) -> Tool:
    stage, before = desk.stage, desk.stage.eye
    try:
        while True:
            point = yield
            if point.released:
                return
            if stage.eye is not None:
                stage.turn(step(stage.eye, point))
    except Abandoned:
        if before is not None:
            stage.turn(before)


def _always(desk: Desk) -> bool:
    return True


TURN = HeadTool("turn", "turn", "", _always, turn, "right drag", "turn the head")
MOVE = HeadTool("move", "move", "", _always, move, "middle drag, or Shift and right drag", "move it")
MOVE_WITH_SHIFT = HeadTool("move with Shift", "turn", "Shift", _always, move)
