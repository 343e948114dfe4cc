"""The window without a screen: which tool a press begins, and what is told of a fault."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from composer.errors import MoueError
from composer.viewer.session.fitting import TOOLS as FIT_TOOLS
from composer.viewer.session.stage import Stage
from composer.viewer.tools import registry
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import HeadTool, Point, Tool
from composer.viewer.tools.registry import TOOLS, tool_for

NONE: frozenset[str] = frozenset()
CTRL, SHIFT = frozenset({"Ctrl"}), frozenset({"Shift"})


def desk_in(place: Any, **fields: Any) -> Desk:
    """A desk of a window without a screen, in a place."""
    desk = Desk(Stage())
    desk.stage.place = place
    for name, value in fields.items():
        setattr(desk.stage, name, value)
    return desk


def name_of(desk: Desk, button: Any, keys: frozenset[str] = NONE) -> str:
    tool = tool_for(desk, button, keys)
    return tool.name if tool is not None else ""


def test_the_right_and_the_middle_button_turn_and_move_in_every_place() -> None:
    for place in ("mix", "paint", "marks", "new"):
        desk = desk_in(place)
        assert name_of(desk, "turn") == name_of(desk, "turn", CTRL) == "turn"
        assert name_of(desk, "move") == name_of(desk, "move", SHIFT) == "move"
        assert name_of(desk, "turn", SHIFT) == "move with Shift"


def test_the_left_button_has_a_tool_for_each_place() -> None:
    assert name_of(desk_in("mix"), "left") == name_of(desk_in("mix"), "left", SHIFT) == "gauge"
    assert name_of(desk_in("mix"), "left", CTRL) == name_of(desk_in("mix"), "left", CTRL | SHIFT) == "pull"
    assert name_of(desk_in("marks"), "left", CTRL) == "place a landmark"
    assert name_of(desk_in("new"), "left") == "", "there is no sculpt yet"
    assert name_of(desk_in("new", new_head=object()), "left") == "place a landmark of the sculpt"


def test_a_tool_that_is_chosen_goes_before_placing_landmarks_once_there_is_a_fit() -> None:
    desk = desk_in("new", new_head=object())
    by_tool = {"place": "place a landmark of the sculpt", "vertex": "grip a loop", "loop": "grip a loop",
               "even": "fit brush", "form": "fit brush", "still": "fit brush"}  # fmt: skip
    assert tuple(by_tool) == FIT_TOOLS
    for desk.fitting.tool in by_tool:
        assert name_of(desk, "left") == "place a landmark of the sculpt", "nothing is fitted yet"
    desk.fitting.of = SimpleNamespace(fitted=object())  # type: ignore[assignment]
    for tool, name in by_tool.items():
        desk.fitting.tool = tool
        assert name_of(desk, "left") == name


def test_nothing_is_painted_before_the_brush_is_ready() -> None:
    desk = desk_in("paint", session=object())
    assert name_of(desk, "left") == ""
    desk.painting.ready_for = lambda session: True  # type: ignore[method-assign]
    assert name_of(desk, "left") == "stroke"


def test_one_line_adds_a_tool(monkeypatch: pytest.MonkeyPatch) -> None:
    pressed: list[Point] = []

    def poke(desk: Desk, at: Point) -> Tool:
        pressed.append(at)
        yield

    added = HeadTool("poke", "left", "Ctrl", lambda desk: desk.stage.place == "mix", poke, "Ctrl and press", "pokes")
    monkeypatch.setattr(registry, "TOOLS", (added, *TOOLS))
    desk = desk_in("mix")
    tool = tool_for(desk, "left", CTRL)
    assert tool is added and name_of(desk, "left") == "gauge"
    next(tool.begin(desk, Point(1.0, 2.0)))
    assert pressed == [Point(1.0, 2.0)]


def test_names_and_gestures_are_told_apart() -> None:
    names, gestures = [tool.name for tool in TOOLS], [tool.gesture for tool in TOOLS if tool.gesture]
    assert len(set(names)) == len(names) and len(set(gestures)) == len(gestures)
    assert all(bool(tool.gesture) == bool(tool.words) for tool in TOOLS)


def test_an_edits_fault_does_not_begin_with_the_open_documents_path() -> None:
    place = Path("/somewhere/clock.moue")
    stage = Stage()
    stage.session = SimpleNamespace(  # type: ignore[assignment]
        project=SimpleNamespace(path=place), file=place, head=SimpleNamespace(path=None)
    )

    def refused(where: Path) -> object:
        raise MoueError("no recipe is named 'a'", where, hint="there is b")

    assert not stage.guard(lambda: refused(place))
    assert not stage.guard(lambda: refused(Path("/somewhere/target.obj")))
    first, second = (words.text for words in stage.words)
    assert first == "No recipe is named 'a'; there is b"
    assert second.startswith("/somewhere/target.obj: no recipe"), "the fault lies in that file"
