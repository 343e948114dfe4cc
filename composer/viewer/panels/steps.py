"""The list of steps of the open document: what each did, and a press that goes there."""

from __future__ import annotations

from dataclasses import dataclass, field

from imgui_bundle import ImVec2, imgui

from composer.document.project import Project
from composer.document.step_words import step_words
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit

WIDE, MOST_LINES = 340.0, 16
"""Width of the list in pixels at scale 1; lines before it scrolls."""


@dataclass
class Steps:
    """The steps that were put into words last, and the words."""

    _of: tuple[Project, ...] = ()
    _words: list[str] = field(default_factory=list)

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The list, while it is open, under its button; what can be done again stands below what is open."""
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(8), kit.px(8)))
        kit.under("Steps", kit.px(WIDE + 16))
        if imgui.begin_popup("steps"):
            history = stage.opened.history
            words, line = self.words(history.steps), imgui.get_text_line_height_with_spacing() + kit.px(4)
            kit.area("step list", kit.px(WIDE), line * min(len(words), MOST_LINES) + kit.px(4))
            for at, text in enumerate(words):
                here = at == history.at
                colour = imgui.Col_.text if at <= history.at else imgui.Col_.text_disabled
                imgui.push_style_color(imgui.Col_.text, imgui.get_style_color_vec4(colour))
                shown = kit.fit(f"{at}   {text}", kit.px(WIDE - 24))
                if imgui.selectable(f"{shown}##step{at}", here, imgui.SelectableFlags_.no_auto_close_popups)[0]:
                    history.go(at)
                    stage.guard(stage.opened.follow)
                imgui.pop_style_color()
                kit.mark(f"step {at}")
                if here and imgui.is_window_appearing():
                    imgui.set_scroll_here_y(0.7)
            imgui.end_child()
            imgui.end_popup()
        imgui.pop_style_var()

    def words(self, steps: tuple[Project, ...]) -> list[str]:
        """What each step did, the first line for how it was opened; made again only for what is new."""
        same = 0
        for one, other in zip(self._of, steps, strict=False):
            if one is not other:
                break
            same += 1
        kept = self._words[:same]
        for at in range(len(kept), len(steps)):
            kept.append("as it was opened" if at == 0 else step_words(steps[at - 1], steps[at]))
        self._of, self._words = steps, kept
        return kept
