"""The sheet of what Moue takes the open head for: neutral, unit, sides, parts and landmarks, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass, field

from imgui_bundle import ImVec2, imgui

from composer.document.beliefs import Belief, beliefs_of
from composer.head.head import Head
from composer.viewer.panels.sheets import begin_sheet, end_sheet
from composer.viewer.session.stage import Stage
from composer.viewer.session.swapping import swap_file
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit

WIDE, HIGH = 640, 420
"""The largest size of the list, in points of the interface."""


@dataclass
class AboutHead:
    """The lines, and the head that they are about."""

    lines: list[Belief] = field(default_factory=list)
    head: Head | None = None

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The sheet, while it is asked for. Its lines are found beside the frame loop, once for a head."""
        if not stage.dialogs.about:
            return
        self._look(stage)
        if not begin_sheet("about", kit):
            return
        with kit.bold():
            imgui.text("What Moue takes this head for")
        kit.quiet("A question mark asks you to look. The grey line says how to correct it.")
        view = imgui.get_main_viewport().size
        size = ImVec2(min(kit.px(WIDE), view.x - kit.px(80)), min(kit.px(HIGH), view.y - kit.px(180)))
        imgui.begin_child("about lines", size)
        if not self.lines:
            kit.quiet("Looking at the head ...")
        for line in self.lines:
            self._line(kit, line)
        imgui.end_child()
        if kit.button("Close", name="about close") or imgui.is_key_pressed(imgui.Key.escape):
            stage.dialogs.about = False
        imgui.same_line()
        hint = "a fitted head takes its place: the library is carried onto it, and all that you made stays"
        if kit.button("Put another head in its place", hint, name="about swap"):
            stage.dialogs.about = False
            heading = "A head fitted with this topology"
            stage.dialogs.path_for = (heading, "Swap in", lambda path: swap_file(stage, path))
        end_sheet(stage.dialogs.about)

    def _look(self, stage: Stage) -> None:
        head = stage.opened.evaluated.head
        if head is self.head:
            return
        self.head, self.lines = head, []

        def done(lines: list[Belief]) -> None:
            if self.head is head:
                self.lines = sorted(lines, key=lambda line: not line.doubt)

        stage.work.begin("Looking at the head", lambda progress: beliefs_of(head), done)

    def _line(self, kit: Kit, line: Belief) -> None:
        imgui.push_text_wrap_pos(0)
        with kit.bold():
            if line.doubt:
                imgui.text_colored(theme.vec4(theme.SAND), f"{line.topic} ?")
            else:
                imgui.text(line.topic)
        imgui.text(line.words)
        kit.quiet(line.correct)
        imgui.pop_text_wrap_pos()
        kit.mark(f"about {line.topic}")
        imgui.dummy(ImVec2(0, kit.px(6)))
