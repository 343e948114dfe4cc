"""Turning and moving the head before the eye."""

from __future__ import annotations

from composer.viewer.session.stage import Stage
from composer.viewer.tools.gestures import Abandoned, Tool


def turn(stage: Stage) -> Tool:
    """Orbit while it is dragged."""
    return _dragged(stage, lambda eye, p: eye.orbit(p.dx, p.dy))


def move(stage: Stage) -> Tool:
    """Pan while it is dragged."""
    return _dragged(stage, lambda eye, p: eye.pan(p.dx, p.dy, stage.view[3]))


def _dragged(stage: Stage, step) -> Tool:  # type: ignore[no-untyped-def]
    before = stage.eye
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
