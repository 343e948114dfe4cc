"""Where is it? The landmark that is asked for, on the library and under the pointer, and the list of all of them."""

from __future__ import annotations

from dataclasses import dataclass

from imgui_bundle import ImVec2, imgui

from composer.fitting.guess import LEAST
from composer.head.plain_names import matches, plain_name, split_side
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.session.fitting import Fitting
from composer.viewer.session.saving import save_landmarks
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

ON_LIBRARY = "where it lies on the library's head"
ON_SCULPT = "the sculpt under the pointer, four times as large; or the place that it has"


@dataclass
class WhereIsIt:
    """What is searched for."""

    search: str = ""

    def draw(self, stage: Stage, kit: Kit, fitting: Fitting) -> None:
        """The whole panel, on the left."""
        new = stage.new_head
        imgui.align_text_to_frame_padding()
        with kit.bold():
            imgui.text("Where is it?")
        if new is None:
            imgui.push_text_wrap_pos(0)
            kit.quiet("Open a sculpt first, on the right, or drop its file on the window.")
            imgui.pop_text_wrap_pos()
            return
        imgui.same_line()
        guessed = f", {len(new.marks.guessed)} guessed" if new.marks.guessed else ""
        kit.quiet(f"{len(new.placed)} of {len(new.names)} placed{guessed}")
        _loupes(stage, kit, new)
        _asked(stage, kit, new)
        self._search(kit)
        kit.area("new marks", high=-kit.px(102))
        shown = [name for name in new.names if matches(name, self.search)]
        for name in shown:
            _row(stage, kit, new, fitting, name)
        curves = [name for name in new.lines if matches(name, self.search)]
        if curves:
            kit.heading("Curves")
        for name in curves:
            _row(stage, kit, new, fitting, name)
        if not shown and not curves:
            kit.quiet("Nothing is called so.")
        imgui.end_child()
        _buttons(stage, kit, new)

    def _search(self, kit: Kit) -> None:
        self.search = kit.search("search landmarks", self.search, "search: eye corner, tragion")


def _loupes(stage: Stage, kit: Kit, new: NewHead) -> None:
    """The asked landmark on the library's own head, and beside it what lies under the pointer."""
    gap = kit.px(6)
    side = (imgui.get_content_region_avail().x - gap) / 2
    at = imgui.get_cursor_screen_pos()
    known = stage.landmark in new.names or stage.landmark in new.lines
    _picture(kit, at.x, at.y, side, kit.picture("landmark", stage.landmark) if known else None, "the library")
    imgui.dummy(ImVec2(side, side))
    kit.mark("loupe library")
    kit.tip(ON_LIBRARY)
    imgui.same_line(0, gap)
    x = at.x + side + gap
    texture = kit.loupe()
    words = "under the pointer" if stage.in_view(*stage.pointer) else "its place"
    _picture(kit, x, at.y, side, texture, "point at the sculpt" if texture is None else words, flipped=True)
    if texture is not None:
        _cross(kit, x + side / 2, at.y + side / 2)
    imgui.dummy(ImVec2(side, side))
    kit.mark("loupe sculpt")
    kit.tip(ON_SCULPT)


def _picture(kit: Kit, x: float, y: float, side: float, texture: int | None, words: str, flipped: bool = False) -> None:
    """A square picture with its caption, or the caption alone."""
    draw, low, high = imgui.get_window_draw_list(), ImVec2(x, y), ImVec2(x + side, y + side)
    draw.add_rect_filled(low, high, u32(theme.DEEP), kit.px(8))
    if texture is not None:
        first, last = (ImVec2(0, 1), ImVec2(1, 0)) if flipped else (ImVec2(0, 0), ImVec2(1, 1))
        draw.add_image_rounded(imgui.ImTextureRef(texture), low, high, first, last, u32(theme.TEXT), kit.px(8))
    size = imgui.calc_text_size(words)
    box = ImVec2(x + kit.px(6), y + side - size.y - kit.px(8))
    draw.add_rect_filled(
        ImVec2(box.x - kit.px(4), box.y - kit.px(1)), ImVec2(box.x + size.x + kit.px(4), box.y + size.y + kit.px(2)),
        u32(theme.DEEP, 0.8), kit.px(4),
    )  # fmt: skip
    draw.add_text(box, u32(theme.TEXT), words)


def _cross(kit: Kit, x: float, y: float) -> None:
    """Four short lines about the middle of the loupe: what lies between them is what a press takes."""
    draw, near, far = imgui.get_window_draw_list(), kit.px(4), kit.px(13)
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        draw.add_line(
            ImVec2(x + dx * near, y + dy * near), ImVec2(x + dx * far, y + dy * far), u32(theme.DARK), kit.px(3)
        )
        draw.add_line(
            ImVec2(x + dx * near, y + dy * near), ImVec2(x + dx * far, y + dy * far), u32(theme.SAND), kit.px(1.4)
        )


def _asked(stage: Stage, kit: Kit, new: NewHead) -> None:
    """The words for what is asked for: the plain ones, the anthropometric name behind them, small."""
    name = stage.landmark
    if name not in new.names and name not in new.lines:
        with kit.bold():
            imgui.text("All landmarks have a place." if not new.next_asked() else "Choose one below.")
        kit.quiet(" ")
        return
    plain = plain_name(name)
    with kit.bold():
        imgui.text(kit.fit(plain[:1].upper() + plain[1:], imgui.get_content_region_avail().x, theme.SIDES))
    kit.mark("asked for")
    stem = split_side(name)[0].replace("_", " ")
    along = "; draw it, or press along it" if name in new.lines else ""
    imgui.push_font(kit.faces.plain, theme.TEXT_SIZE * 0.87)
    kit.quiet(f"{stem}{along}")
    imgui.pop_font()


def _row(stage: Stage, kit: Kit, new: NewHead, fitting: Fitting, name: str) -> None:
    at, wide, high = imgui.get_cursor_screen_pos(), imgui.get_content_region_avail().x, kit.px(24)
    if imgui.selectable(f"##new {name}", name == stage.landmark, 0, ImVec2(wide, high))[0]:
        stage.landmark, fitting.tool = name, "place"
    kit.mark(f"new landmark {name}")
    off = _left_out(new, name)
    kit.tip(name.replace("_", " ") + ("" if off is None else f": {off:.1f} mm from where the others put it"))
    marks, draw = new.marks, imgui.get_window_draw_list()
    has = name in marks.places or len(marks.curves.get(name, ())) > 1
    if name in marks.guessed:
        sign, colour = "star", theme.ORANGE
    else:
        sign, colour = ("dot", theme.MOSS) if has else ("solo", theme.EDGE)
    kit.sign(sign, at.x + kit.px(10), at.y + high / 2, kit.px(11), colour)
    held = name in marks.pinned
    if held:
        kit.sign("lock", at.x + wide - kit.px(10), at.y + high / 2, kit.px(11), theme.SAND)
        wide -= kit.px(20)
    if off is not None:
        size = imgui.calc_text_size(f"{off:.1f} mm")
        wide -= size.x + kit.px(8)
        put = ImVec2(at.x + wide, at.y + (high - size.y) / 2)
        draw.add_text(put, u32(theme.QUIET), f"{off:.1f} mm")
    more = ", a guess" if name in marks.guessed else ""
    if name in marks.curves:
        more = f", {len(marks.curves[name])} points"
    words = kit.fit(plain_name(name) + more, wide - kit.px(28), theme.SIDES if not more else 0)
    ink = theme.TEXT if has else theme.QUIET
    draw.add_text(ImVec2(at.x + kit.px(22), at.y + (high - imgui.get_font_size()) / 2), u32(ink), words)


def _left_out(new: NewHead, name: str) -> float | None:
    """How far a landmark lies from where the others put it, mm, by the last fit; None where that knew it elsewhere."""
    fitted, place = new.fitted, new.placed.get(name)
    if fitted is None or place is None or new.step.through.placed.get(name) != place:
        return None
    return fitted.report.left_out.get(name)


def _buttons(stage: Stage, kit: Kit, new: NewHead) -> None:
    gap = kit.px(4)
    half = (imgui.get_content_region_avail().x - gap) / 2
    hint = f"show where the others may be: from {LEAST} or more that are placed; after a fit, from the fitted library"
    if kit.button("Guess the others", hint, able=len(new.placed) >= LEAST or new.uncarried, wide=half):
        stage.guard(new.guess)
    imgui.same_line(0, gap)
    if kit.button("Accept guesses", "every guess counts as placed from now on",
                  able=bool(new.marks.guessed), wide=half):  # fmt: skip
        new.confirm()
    held = stage.landmark in new.marks.pinned
    hint = "the fit holds the chosen landmark where it lies; without this it pulls, as a hand places it to half a mm"
    if kit.button("Let it pull" if held else "Pin", hint, able=stage.landmark in new.placed, wide=half,
                  name="Pin landmark"):  # fmt: skip
        new.pin(stage.landmark, not held)
    imgui.same_line(0, gap)
    able = stage.landmark in new.marks.places or stage.landmark in new.marks.curves
    hint = "remove the chosen landmark from the sculpt, or a curve's last point"
    if kit.button("Remove", hint, able=able, wide=half, name="Remove landmark"):
        new.take_away(stage.landmark)
    if kit.button("Save", "in a file beside the sculpt, with the painted zones; moue fit reads it, too",
                  wide=-1, name="Save landmarks"):  # fmt: skip
        save_landmarks(stage)
