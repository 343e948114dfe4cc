"""The sheets about what others do with the open document: another window has it, or its file was changed outside."""

from __future__ import annotations

from collections.abc import Callable

from imgui_bundle import imgui

from composer.viewer.session.open_job import begin_opening
from composer.viewer.session.saving import unless_unsaved
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit


def draw_others(stage: Stage, kit: Kit, begin: Callable[[str, Kit], bool], end: Callable[[bool], None]) -> None:
    """Whichever is asked for; `begin` and `end` are those of a sheet."""
    others, session = stage.others, stage.session
    if others is None or session is None:
        return
    if others.asks and others.presence is not None and begin("others", kit):
        with kit.bold():
            imgui.text(f"{kit.fit(session.title, kit.px(300))} is open in another window.")
        kit.quiet(f"It is {others.presence.other}. Each window keeps its own copy of what is not saved.")
        if kit.button("Look at it", "it can be saved under another name", name="others look"):
            others.look()
        imgui.same_line()
        if kit.button("Take it over", "the other window can then only look", name="others take over"):
            stage.guard(others.take_over)
        end(others.asks)
    elif others.changed and session.file is not None and begin("changed outside", kit):
        with kit.bold():
            imgui.text(f"{kit.fit(session.file.name, kit.px(300))} was changed outside this window.")
        kit.quiet(kit.fit(others.differs, kit.px(420)) if others.differs else "What you see here is as you left it.")
        if kit.button("Reload", "open the file as it is now", name="changed reload"):
            others.changed, file = False, session.file
            unless_unsaved(stage, lambda: begin_opening(stage, file))
        imgui.same_line()
        if kit.button("Keep mine", "the next save writes over the file", name="changed keep"):
            others.keep_mine()
        imgui.same_line()
        if kit.button("See what differs", name="changed differs"):
            others.tell_differences(stage.work)
        end(others.changed)
