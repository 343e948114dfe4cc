"""Every tool of the head, in the order in which they are asked: the first that fits a press takes it.

To add a tool: a file of this folder with a generator and its `HeadTool`, and one line here.
"""

from __future__ import annotations

from composer.viewer.tools import (
    fit_brush,
    gauge,
    grip_cage,
    look_about,
    place_mark,
    place_pair,
    place_reference,
    pull,
    stroke,
)
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Button, HeadTool

TOOLS: tuple[HeadTool, ...] = (
    look_about.MOVE_WITH_SHIFT,
    look_about.TURN,
    look_about.MOVE,
    place_reference.PLACE_REFERENCE,
    pull.PULL,
    gauge.GAUGE,
    stroke.STROKE,
    place_mark.PLACE_MARK,
    fit_brush.FIT_BRUSH,
    grip_cage.GRIP_CAGE,
    place_pair.PLACE_PAIR,
)


def tool_for(desk: Desk, button: Button, keys: frozenset[str]) -> HeadTool | None:
    """The tool that a press begins, with these modifier keys ("Ctrl", "Shift") held; None where none fits."""
    for tool in TOOLS:
        if tool.button == button and (not tool.key or tool.key in keys) and tool.applies(desk):
            return tool
    return None
