"""What moves a place of the face: the cells of the recipe that do, the one that moves it furthest first."""

from __future__ import annotations

from dataclasses import dataclass, field

from imgui_bundle import ImVec2, imgui

from composer.mixing.movers import Mover, movers
from composer.mixing.recipe import ALL
from composer.viewer.panels.viewbar import ONE_LINE
from composer.viewer.session.percent import weight_words
from composer.viewer.session.same_key import same_key
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

LEAST_MM = 0.005
"""What moves the place by less is not listed: it would read 0.00 mm."""
WIDE, LINE, MOST_LINES = 280.0, 25.0, 9
"""Width and height of a line in pixels at scale 1; lines before the list scrolls."""


@dataclass
class Movers:
    """What was found last, and for what."""

    _key: tuple = ()
    found: list[Mover] = field(default_factory=list)

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The list over the view, while a place is asked about."""
        if stage.asked_place is None or stage.place != "mix":
            return
        self._find(stage)
        left, top, width, height = stage.view
        wide = min(kit.px(WIDE), width - kit.px(24))
        lines = min(max(len(self.found), 1), MOST_LINES)
        high = min(kit.px(62) + kit.px(LINE) * lines, height - kit.px(100))
        below = 52 if stage.whole_view[2] >= kit.px(ONE_LINE) else 84  # the view's own buttons
        imgui.set_next_window_pos(ImVec2(left + kit.px(18), top + kit.px(below)))
        imgui.set_next_window_size(ImVec2(wide, max(high, kit.px(60))))
        imgui.push_style_color(imgui.Col_.window_bg, theme.vec4((*theme.DEEP[:3], 0.94)))
        imgui.push_style_var(imgui.StyleVar_.window_rounding, kit.px(8))
        flags = imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
        imgui.begin("movers", None, flags | imgui.WindowFlags_.no_focus_on_appearing)
        imgui.align_text_to_frame_padding()
        with kit.bold():
            imgui.text("What moves this place")
        kit.at_right("Close")
        if kit.button("Close", name="Close movers"):
            stage.asked_place = None
        if not self.found:
            kit.quiet("Nothing in this recipe does.")
        kit.area("movers list")
        top_mm = self.found[0].mm if self.found else 1.0
        for number, mover in enumerate(self.found):
            self._line(stage, kit, number, mover, mover.mm / top_mm)
        imgui.end_child()
        imgui.end()
        imgui.pop_style_var()
        imgui.pop_style_color()

    def _find(self, stage: Stage) -> None:
        session = stage.opened
        key = (stage.asked_place, session.evaluated.mixer, session.recipe)
        place = stage.asked_place
        if place is not None and not same_key(self._key, key):
            self._key, self.found = key, []
            stage.guard(lambda: self.found.extend(movers(session.evaluated.mixer, session.recipe, *place)))
            self.found = [mover for mover in self.found if mover.mm >= LEAST_MM]

    def _line(self, stage: Stage, kit: Kit, number: int, mover: Mover, share: float) -> None:
        """One cell: a bar as long as it moves the place, its names, its weight, and how far. A press chooses it."""
        at, wide, high = imgui.get_cursor_screen_pos(), imgui.get_content_region_avail().x, kit.px(LINE - 7)
        if imgui.selectable(f"##mover {number}", False, 0, ImVec2(wide, high))[0] and mover.key is not None:
            stage.opened.region, stage.opened.shape = mover.key[0], mover.key[1]
        kit.mark(f"mover {number}")
        draw, foot = imgui.get_window_draw_list(), at.y + high
        bar = ImVec2(at.x, foot - kit.px(1)), ImVec2(at.x + wide * share, foot + kit.px(2))
        draw.add_rect_filled(*bar, u32(theme.TIDE))
        far = f"{mover.mm:.2f} mm"
        room = wide - kit.wide(far) - kit.px(10)
        if mover.key is None:
            words = f"corrective {mover.corrective}"
        else:
            row = "base" if mover.key[0] == ALL else mover.key[0]
            words = f"{weight_words(mover.weight)}  {row} × {mover.key[1]}" + (" mirrored" if mover.key[2] else "")
        draw.add_text(at, u32(theme.TEXT), kit.fit(words, room, theme.SIDES))
        draw.add_text(ImVec2(at.x + wide - kit.wide(far), at.y), u32(theme.QUIET), far)
        kit.tip(words)
