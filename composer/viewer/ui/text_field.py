"""A field for text, which shows scripts that run from the right as labels do: turned, joined, at the field's right end.

Dear ImGui types letters in the order of the text and draws them from the left. Where a text holds letters that run from
the right its own drawing is left out, and the text is drawn over the field as `as_drawn` has it, with what is selected
and the caret at the edges that the letters before them have in the line.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from imgui_bundle import ImVec2, imgui

from composer.picture.letter_order import Drawn, as_drawn, runs_from_right
from composer.viewer.ui import theme
from composer.viewer.ui.theme import u32

if TYPE_CHECKING:
    from composer.viewer.ui.kit import Kit

NOTHING = imgui.ImVec4(0, 0, 0, 0)


@dataclass
class Carets:
    """Where the caret of the field that is typed in stands, and what is selected there: places in its text, in
    letters."""

    at: int = 0
    selected: tuple[int, int] = (0, 0)
    seen: dict[str, str] = field(default_factory=dict)
    """What is drawn over fields, by their names."""

    def follow(self, data: imgui.InputTextCallbackData) -> int:
        """Dear ImGui tells of the field that is typed in; its places count the bytes of UTF-8."""
        text = str(data.buf).encode()
        at, first, last = (len(text[:place].decode(errors="ignore")) for place in
                           (data.cursor_pos, data.selection_start, data.selection_end))  # fmt: skip
        self.at, self.selected = at, (min(first, last), max(first, last))
        return 0


def text_field(kit: Kit, name: str, held: str, hint: str = "", flags: int = 0) -> tuple[bool, str]:
    """The field of a name, as wide as the next item is to be, with `hint` where it is empty: whether it was entered or
    changed, as the flags say, and what is in it."""
    turned = isinstance(as_drawn(held), Drawn)
    if turned:
        for colour in (imgui.Col_.text, imgui.Col_.input_text_cursor, imgui.Col_.text_selected_bg):
            imgui.push_style_color(colour, NOTHING)
    flags |= imgui.InputTextFlags_.callback_always
    done, text = imgui.input_text_with_hint(f"##{name}", as_drawn(hint), held, flags, kit.carets.follow)
    if turned:
        imgui.pop_style_color(3)
    kit.mark(name)
    kit.carets.seen.pop(name, None)
    if isinstance(as_drawn(text), Drawn):
        kit.carets.seen[name] = as_drawn(text)
        _draw(kit, text, imgui.is_item_active())
    return done, text


def _draw(kit: Kit, text: str, typed: bool) -> None:
    """The text over the field that was the last item, and its caret where it is typed in."""
    low, high = imgui.get_item_rect_min(), imgui.get_item_rect_max()
    pad, draw = imgui.get_style().frame_padding, imgui.get_window_draw_list()
    left, right, whole = low.x + pad.x, high.x - pad.x, kit.wide(text)
    at = min(kit.carets.at, len(text))
    base = runs_from_right(text)
    start = right - whole if base else left
    edge = start + _edge(kit, text, at, whole, base)
    if typed:  # the caret stays in sight
        start += min(right - edge, 0.0) + max(left - edge, 0.0)
        edge = start + _edge(kit, text, at, whole, base)
    draw.push_clip_rect(ImVec2(left - 1, low.y), ImVec2(right + 1, high.y), True)
    top, foot = low.y + pad.y, high.y - pad.y
    first, last = (min(place, len(text)) for place in kit.carets.selected)
    if typed and last > first:
        ends = sorted(start + _edge(kit, text, place, whole, base) for place in (first, last))
        ground = imgui.get_style_color_vec4(imgui.Col_.text_selected_bg)
        draw.add_rect_filled(ImVec2(ends[0], top), ImVec2(ends[1], foot), imgui.color_convert_float4_to_u32(ground))
    draw.add_text(ImVec2(start, top), u32(theme.TEXT), as_drawn(text))
    if typed:
        draw.add_line(ImVec2(edge, top), ImVec2(edge, foot), u32(theme.TEXT), kit.px(1))
    draw.pop_clip_rect()


def _edge(kit: Kit, text: str, place: int, whole: float, base: bool) -> float:
    """How far from the left of the drawn text the letters before a place end: exact for lines of one script, and at
    the end of all others."""
    before = kit.wide(text[:place])
    return whole - before if base else before


def search_field(kit: Kit, name: str, held: str, hint: str = "search", tip: str = "", wide: float = 0.0) -> str:
    """A field to search with, as wide as there is room or `wide` in pixels: a press into it takes all that is in it, so
    that the next words replace it; Escape, or the cross beside it, empties it. What is searched for."""
    side, gap = imgui.get_frame_height(), kit.px(3)
    imgui.set_next_item_width((wide or imgui.get_content_region_avail().x) - (side + gap if held else 0.0))
    flags = imgui.InputTextFlags_.auto_select_all | imgui.InputTextFlags_.escape_clears_all
    _, text = text_field(kit, name, held, hint, flags)
    if tip and not imgui.is_item_active():  # it would lie over what is found
        kit.tip(tip)
    if held:
        imgui.same_line(0, gap)
        if kit.button(f"×##{name}", "empty the search", wide=side, name=f"empty {name}"):
            return ""
    return text
