"""The first page: open a library or document, a recent one, or the demo."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from imgui_bundle import ImVec2, imgui

from composer.errors import shorten_middle
from composer.viewer.session.folders import fault_of, formats_words
from composer.viewer.session.open_job import begin_opening
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit


@dataclass
class Welcome:
    """The path that is typed."""

    path: str = ""
    fault: str = ""

    def draw(self, stage: Stage, kit: Kit, demo: Callable[[], None], browse: Callable[[], None] | None) -> None:
        """The page in the middle of the window; `demo` opens it, `browse` asks the machine for a folder or file."""
        display = imgui.get_io().display_size
        wide = min(kit.px(560), display.x - kit.px(40))
        top = max(display.y * 0.2, kit.px(24))
        imgui.set_cursor_pos(ImVec2((display.x - wide) / 2, top))
        imgui.begin_group()
        with kit.bold(46.0):
            imgui.text_colored(theme.vec4(theme.SAND), "Moue")
        imgui.push_text_wrap_pos(imgui.get_cursor_pos_x() + wide)
        kit.quiet("Facial expressions, mixed region by region and baked as new targets.")
        imgui.pop_text_wrap_pos()
        imgui.dummy(ImVec2(0, kit.px(18)))
        with kit.bold():
            imgui.text("Open a library or a document")
        imgui.set_next_item_width(wide - kit.px(166))
        before = self.path
        entered, self.path = kit.text_field(
            "path", self.path, "a folder, a file or a document", imgui.InputTextFlags_.enter_returns_true
        )
        imgui.same_line(0, kit.px(6))
        if (kit.button("Open", name="open path", wide=kit.px(70)) or entered) and self.path.strip():
            self.fault = fault_of(self.path)
            if not self.fault:
                begin_opening(stage, Path(self.path.strip().strip('"')).expanduser())
        imgui.same_line(0, kit.px(6))
        if kit.button("Browse", "choose among folders and files", wide=kit.px(80)):
            if browse is not None:
                browse()
            else:
                stage.dialogs.open_path = True
        self.fault = self.fault if self.path == before else ""
        kit.fault(self.fault, "path", wide)
        imgui.push_text_wrap_pos(imgui.get_cursor_pos_x() + wide)
        kit.quiet(f"Or drop it anywhere on this window: {formats_words()}.")
        imgui.pop_text_wrap_pos()
        imgui.dummy(ImVec2(0, kit.px(12)))
        if kit.button("Open the demo", "keeper, a head made by code, with 64 shapes, 40 regions and four recipes"):
            demo()
        recent = stage.settings.there
        if recent:
            imgui.dummy(ImVec2(0, kit.px(14)))
            with kit.bold():
                imgui.text("Recent")
            for place in recent:
                self._recent(stage, kit, place, wide)
        imgui.end_group()

    def _recent(self, stage: Stage, kit: Kit, place: Path, wide: float) -> None:
        if imgui.selectable(f"##{place}", False, 0, ImVec2(wide, kit.px(40)))[0]:
            begin_opening(stage, place)
        kit.mark(f"recent {place.name}")
        low, draw = imgui.get_item_rect_min(), imgui.get_window_draw_list()
        name = place.parent.name if place.name == "document.toml" else place.name
        draw.add_text(ImVec2(low.x + kit.px(6), low.y + kit.px(3)), theme.u32(theme.TEXT), kit.fit(name, wide))
        draw.add_text(
            ImVec2(low.x + kit.px(6), low.y + kit.px(21)), theme.u32(theme.QUIET), shorten_middle(str(place), 70)
        )
