"""Pictures in lines, walked over by keys: one stop of Tab, arrows inside, Enter or Space presses, a ring that is seen.

As W3C has it (WAI-ARIA Authoring Practices 1.2, "Layout Grids"): Right and Left go on to the next line and back,
Up and Down keep their column, Home and End are the ends of a line, with Ctrl those of all lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from imgui_bundle import ImVec2, imgui

from composer.viewer.ui import theme
from composer.viewer.ui.theme import u32

if TYPE_CHECKING:
    from composer.viewer.ui.kit import Kit

KEYS = (
    "Left", "Right", "Up", "Down", "Home", "End", "Ctrl+Home", "Ctrl+End", "PageUp", "PageDown", "Enter", "Space",
)  # fmt: skip
"""What is for the grid once somebody has walked to it."""


@dataclass
class PictureGrid:
    """One grid: the name of the picture that the keyboard is `at`, and of one that was `pressed` by a key and is not
    answered yet; `walked` whether the keyboard is on the grid."""

    at: str = ""
    pressed: str = ""
    walked: bool = False
    _names: Sequence[str] = field(default_factory=tuple)
    _across: int = 1
    _lines: int = 1
    _follow: bool = False

    def begin(self, kit: Kit, name: str, flags: int = 0) -> None:
        """Begin the part of the panel that is left as a grid of this name; the caller ends the child."""
        at, room = imgui.get_cursor_pos(), imgui.get_content_region_avail()
        imgui.set_next_item_allow_overlap()
        imgui.invisible_button(f"##{name}", ImVec2(room.x, max(room.y, 1.0)), imgui.ButtonFlags_.enable_nav)
        kit.mark(name)
        self.walked = imgui.is_item_focused() and bool(imgui.get_io().nav_visible)
        if self.walked:
            kit.grid = self
        imgui.set_cursor_pos(at)
        imgui.begin_child(f"{name} child", ImVec2(0, 0), imgui.ChildFlags_.none, flags | imgui.WindowFlags_.no_nav)

    def lay(self, names: Sequence[str], chosen: str, across: int, pitch: float) -> None:
        """Tell which pictures there are, how many in a line, and how far apart lines lie in pixels: where the keyboard
        has gone out of sight the lines scroll. The keyboard begins at the `chosen` one."""
        self._names, self._across = names, max(across, 1)
        self._lines = max(int(imgui.get_window_height() // pitch), 1)
        if self.at not in names or not self.walked:
            self.at = chosen if chosen in names else self.at if self.at in names else next(iter(names), "")
        if self._follow and self.at:
            self._follow = False
            top, seen = names.index(self.at) // self._across * pitch, imgui.get_scroll_y()
            if top < seen:
                imgui.set_scroll_y(top)
            elif top + pitch > seen + imgui.get_window_height():
                imgui.set_scroll_y(top + pitch - imgui.get_window_height())

    def takes(self, name: str) -> bool:
        """Whether a key has pressed this picture; asked once."""
        if self.pressed != name:
            return False
        self.pressed = ""
        return True

    def ring(self, kit: Kit, name: str, low: ImVec2, high: ImVec2) -> None:
        """The ring about the picture that the keyboard is at."""
        if self.walked and name == self.at:
            out = kit.px(1.0)
            box = ImVec2(low.x + out, low.y + out), ImVec2(high.x - out, high.y - out)
            imgui.get_window_draw_list().add_rect(*box, u32(theme.DEEP), kit.px(6), kit.px(5.0))
            imgui.get_window_draw_list().add_rect(*box, u32(theme.TEXT), kit.px(6), kit.px(2.4))

    def key(self, combo: str) -> bool:
        """A key went down while the keyboard is on the grid: whether it was for it."""
        if combo not in KEYS or not self._names or self.at not in self._names:
            return False
        if combo in ("Enter", "Space"):
            self.pressed = self.at
            return True
        at, last, across = self._names.index(self.at), len(self._names) - 1, self._across
        line = at - at % across
        page = across * self._lines
        wanted = {
            "Left": at - 1, "Right": at + 1, "Up": at - across, "Down": at + across, "Home": line,
            "End": min(line + across - 1, last), "Ctrl+Home": 0, "Ctrl+End": last,
            "PageUp": max(at - page, at % across), "PageDown": min(at + page, last),
        }[combo]  # fmt: skip
        if 0 <= wanted <= last:
            self.at, self._follow = self._names[wanted], True
        return True
