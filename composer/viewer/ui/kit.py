"""What all panels draw with: the two weights of the typeface, buttons that teach, names that fit, small signs.

Every control tells the kit where it lies (`seen`), under the name that tests and the sheet of screenshots know.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from imgui_bundle import ImVec2, imgui

from composer.picture.letter_order import as_drawn
from composer.picture.short_names import names_apart, shortened
from composer.picture.two_lines import Lines, names_in_two_lines
from composer.plain_number import as_meant
from composer.viewer.ui import theme
from composer.viewer.ui.keys import Keys
from composer.viewer.ui.stops import Stops
from composer.viewer.ui.text_field import Carets, search_field, text_field
from composer.viewer.ui.theme import Faces, Ink, u32, vec4

Box = tuple[float, float, float, float]
MOST_KEPT = 64
"""Lists of shortened names that are kept."""


@dataclass
class Kit:
    """One window's drawing things. `picture` gives the GL name of a small picture ("shape", name) or ("recipe",
    name), None until it is made; `loupe` that of the magnified sculpt, lower row first, None where nothing is pointed
    at; `ghosts` those of the faces before and after in time."""

    faces: Faces
    keys: Keys
    scale: float = 1.0
    picture: Callable[[str, str], int | None] = lambda kind, name: None
    loupe: Callable[[], int | None] = lambda: None
    ghosts: Callable[[], dict[str, int]] = dict
    seen: dict[str, Box] = field(default_factory=dict)
    wants_menu: bool = False
    stops: Stops = field(default_factory=Stops)
    carets: Carets = field(default_factory=Carets)
    _apart: dict[tuple, dict[str, str]] = field(default_factory=dict)
    _lines: dict[tuple, dict[str, Lines]] = field(default_factory=dict)

    def px(self, amount: float) -> float:
        """A length of the interface at its scale."""
        return amount * self.scale

    def mark(self, name: str, able: bool = True) -> None:
        """Remember where the last item lies, and that Tab stops there, if it is `able` to do anything."""
        low, high = imgui.get_item_rect_min(), imgui.get_item_rect_max()
        self.seen[name] = (low.x, low.y, high.x, high.y)
        if able and imgui.get_item_id():
            self.stops.at(name, imgui.is_item_focused())
            if self.stops.wanted(name):
                imgui.set_keyboard_focus_here(-1)
                imgui.set_nav_cursor_visible(True)

    def menu_asked(self) -> bool:
        """Whether the menu of the last item is asked for: by the other button, or by the key for it where the keyboard
        has walked there."""
        return imgui.is_item_clicked(1) or (self.wants_menu and imgui.is_item_focused())

    def area(self, name: str, wide: float = 0.0, high: float = 0.0) -> None:
        """Begin a part of a panel that scrolls by itself; the keyboard walks into it and out again."""
        imgui.begin_child(name, ImVec2(wide, high), imgui.ChildFlags_.nav_flattened)

    # Words.

    @contextmanager
    def bold(self, size: float = 0.0) -> Iterator[None]:
        """Write in the heavier weight, at the base size unless another is given."""
        imgui.push_font(self.faces.bold, size)
        try:
            yield
        finally:
            imgui.pop_font()

    def quiet(self, words: str) -> None:
        """A line in the quiet ink."""
        imgui.text_colored(vec4(theme.QUIET), as_drawn(words))

    def text(self, words: str) -> None:
        """A line, whichever way its script runs."""
        imgui.text(as_drawn(words))

    def wide(self, words: str) -> float:
        """How wide words are drawn, in pixels."""
        return imgui.calc_text_size(as_drawn(words)).x

    def fault(self, words: str, of: str, width: float = 0.0) -> None:
        """What is wrong with the field `of` above it, in words wrapped to a width in pixels."""
        if not words:
            return
        wide = width or imgui.get_content_region_avail().x
        imgui.push_text_wrap_pos(imgui.get_cursor_pos_x() + wide)
        imgui.text_colored(vec4(theme.CORAL), words[:1].upper() + words[1:])
        imgui.pop_text_wrap_pos()
        self.mark(f"fault of {of}")

    def fit(self, words: str, width: float, tail: int = 0) -> str:
        """The words shortened until they fit a width in pixels, as they are drawn: at their end, or before their last
        `tail` letters, as for names that end with their side."""
        return as_drawn(shortened(words, lambda text: self.wide(text) <= width, tail))

    def apart(self, names: Sequence[str], width: float) -> dict[str, str]:
        """Names shortened to a width in pixels so that no two of them look alike, as they are drawn."""
        key = (tuple(names), round(width), round(imgui.get_font_size(), 2))
        if key not in self._apart:
            if len(self._apart) > MOST_KEPT:
                self._apart.clear()
            shown = names_apart(key[0], lambda text: self.wide(text) <= width)
            self._apart[key] = {name: as_drawn(text) for name, text in shown.items()}
        return self._apart[key]

    def in_two_lines(self, names: Sequence[str], width: float) -> dict[str, Lines]:
        """Names in one line or two of a width in pixels so that no two of them look alike, as they are drawn."""
        key = (tuple(names), round(width), round(imgui.get_font_size(), 2))
        if key not in self._lines:
            if len(self._lines) > MOST_KEPT:
                self._lines.clear()
            shown = names_in_two_lines(key[0], lambda text: self.wide(text) <= width)
            self._lines[key] = {name: (as_drawn(one), as_drawn(two)) for name, (one, two) in shown.items()}
        return self._lines[key]

    def label(self, lines: Lines, left: float, top: float, width: float, colour: int) -> None:
        """One line or two, each in the middle of a width in pixels."""
        draw, tall = imgui.get_window_draw_list(), imgui.get_text_line_height()
        for line, words in enumerate(lines):
            draw.add_text(ImVec2(left + (width - self.wide(words)) / 2, top + line * tall), colour, words)

    def beside(self, words: str, gap: float = 4.0) -> None:
        """The next button, of these words, goes beside the last item where there is room, else to the next line."""
        imgui.same_line(0, self.px(gap))
        if imgui.get_content_region_avail().x < self.wide(words) + 2 * imgui.get_style().frame_padding.x:
            imgui.new_line()

    def tip(self, words: str, action: str = "") -> None:
        """A hint for the last item, with the key that does the same."""
        combo = self.keys.words(action) if action else ""
        if imgui.is_item_hovered(imgui.HoveredFlags_.for_tooltip | imgui.HoveredFlags_.allow_when_disabled):
            with self.hint():
                imgui.text(as_drawn(words))
                if combo:
                    self.quiet(combo)

    @contextmanager
    def hint(self) -> Iterator[None]:
        """A box of hints beside the pointer, its lines wrapped."""
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(self.px(10), self.px(7)))
        imgui.push_style_var(imgui.StyleVar_.window_rounding, self.px(6))
        imgui.begin_tooltip()
        imgui.push_text_wrap_pos(self.px(320))
        try:
            yield
        finally:
            imgui.pop_text_wrap_pos()
            imgui.end_tooltip()
            imgui.pop_style_var(2)

    # Controls.

    def text_field(self, name: str, held: str, hint: str = "", flags: int = 0) -> tuple[bool, str]:
        """A field for text, as wide as the next item is to be: whether it was entered or changed, as the flags say, and
        what is in it."""
        return text_field(self, name, held, hint, flags)

    def search(self, name: str, held: str, hint: str = "search", tip: str = "", wide: float = 0.0) -> str:
        """A field to search with: what is searched for."""
        return search_field(self, name, held, hint, tip, wide)

    def button(
        self, label: str, hint: str = "", action: str = "", on: bool = False, able: bool = True, wide: float = 0.0,
        name: str = "", bare: bool = False,
    ) -> bool:  # fmt: skip
        """A button that teaches; `on` draws it held, `bare` without a ground. Whether it was pressed."""
        if on:
            imgui.push_style_color(imgui.Col_.button, vec4(theme.SAND))
            imgui.push_style_color(imgui.Col_.button_hovered, vec4(theme.SAND))
            imgui.push_style_color(imgui.Col_.button_active, vec4(theme.SAND))
            imgui.push_style_color(imgui.Col_.text, vec4(theme.DARK))
        elif bare:
            imgui.push_style_color(imgui.Col_.button, nothing())
        imgui.begin_disabled(not able)
        pressed = imgui.button(self._label(label, wide), ImVec2(wide, 0))
        imgui.end_disabled()
        if on:
            imgui.pop_style_color(4)
        elif bare:
            imgui.pop_style_color()
        self.mark(name or label.split("##")[0], able)
        if hint:
            self.tip(hint, action)
        return pressed and able

    def _label(self, label: str, wide: float) -> str:
        """The label of a button with its words as they are drawn, shortened to its width where it has one; what follows
        ## is its name."""
        words, mark, name = label.partition("##")
        if wide > 0:
            shown = self.fit(words, wide - 2 * imgui.get_style().frame_padding.x + self.px(2))
            return f"{shown}###{words}{mark}{name}"
        return as_drawn(words) + (mark + name if mark else "###" + words if words != as_drawn(words) else "")

    def choice(self, names: dict[str, str], chosen: str, hints: dict[str, str] | None = None, key: str = "") -> str:
        """A row of buttons of which one is held, wrapped where it is too long; the one now chosen."""
        imgui.push_style_var(imgui.StyleVar_.item_spacing, ImVec2(self.px(3), self.px(4)))
        pad = 2 * imgui.get_style().frame_padding.x
        for i, (name, words) in enumerate(names.items()):
            if i:
                imgui.same_line()
                if imgui.get_content_region_avail().x < imgui.calc_text_size(words).x + pad:
                    imgui.new_line()
            if self.button(f"{words}##{key}", (hints or {}).get(name, ""), f"{key}{name}", on=name == chosen):
                chosen = name
        imgui.pop_style_var()
        return chosen

    def slider(
        self, name: str, value: float, low: float, high: float, form: str, flags: int = 0, wide: float = -1.0
    ) -> tuple[bool, float]:
        """A bar that is filled as far as its value goes, the value written on it; Ctrl and click types it."""
        at, tall = imgui.get_cursor_screen_pos(), imgui.get_frame_height()
        width = imgui.get_content_region_avail().x if wide <= 0 else wide
        share = (value - low) / (high - low)
        if flags & imgui.SliderFlags_.logarithmic:
            share = math.log(max(value, low) / low) / math.log(high / low)
        share = min(max(share, 0.0), 1.0)
        draw = imgui.get_window_draw_list()
        ground = imgui.get_style_color_vec4(imgui.Col_.frame_bg)
        draw.add_rect_filled(
            at, ImVec2(at.x + width, at.y + tall), imgui.color_convert_float4_to_u32(ground), self.px(5)
        )
        if share > 0.0:
            draw.push_clip_rect(at, ImVec2(at.x + width * share, at.y + tall), True)
            draw.add_rect_filled(at, ImVec2(at.x + width, at.y + tall), u32(theme.HELD), self.px(5))
            draw.pop_clip_rect()
            draw.add_line(
                ImVec2(at.x, at.y + tall - self.px(1)), ImVec2(at.x + width * share, at.y + tall - self.px(1)),
                u32(theme.SAND), self.px(2),
            )  # fmt: skip
        clear = imgui.ImVec4(0, 0, 0, 0)
        for place in (imgui.Col_.frame_bg, imgui.Col_.frame_bg_hovered, imgui.Col_.frame_bg_active):
            imgui.push_style_color(place, clear)
        imgui.push_style_color(imgui.Col_.slider_grab, clear)
        imgui.push_style_color(imgui.Col_.slider_grab_active, clear)
        imgui.set_next_item_width(width)
        changed, value = imgui.slider_float(f"##{name}", value, low, high, form, flags)
        imgui.pop_style_color(5)
        self.mark(name)
        return changed, as_meant(value)

    def at_right(self, *words: str) -> None:
        """The next buttons, of these words, go to the right end of the line."""
        pad = 2 * imgui.get_style().frame_padding.x
        wide = sum(imgui.calc_text_size(each).x + pad for each in words) + self.px(4) * (len(words) - 1)
        imgui.same_line(imgui.get_cursor_pos_x() + imgui.get_content_region_avail().x - wide)

    def dim(self, name: str) -> None:
        """Dim what lies behind a sheet, and keep the pointer off it."""
        imgui.set_next_window_pos(ImVec2(0, 0))
        imgui.set_next_window_size(imgui.get_io().display_size)
        imgui.push_style_color(imgui.Col_.window_bg, imgui.get_style_color_vec4(imgui.Col_.modal_window_dim_bg))
        flags = imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
        imgui.begin(name, None, flags | imgui.WindowFlags_.no_nav)
        imgui.end()
        imgui.pop_style_color()

    def under(self, name: str, wide: float) -> None:
        """The next window lies under a control that was drawn before, no further right than the window goes for
        `wide` pixels."""
        left, _, _, foot = self.seen.get(name, (0.0, 0.0, 0.0, 0.0))
        left = max(min(left, imgui.get_io().display_size.x - wide - self.px(8)), 0.0)
        imgui.set_next_window_pos(ImVec2(left, foot + self.px(4)))

    def heading(self, words: str) -> None:
        """A heading inside a panel."""
        imgui.dummy(ImVec2(0, self.px(2)))
        with self.bold():
            imgui.text(as_drawn(words))

    def sign(self, kind: str, x: float, y: float, size: float, colour: Ink) -> None:
        """A small drawn sign about (x, y): solo, mute, lock, add, replace, mirror, star, dot."""
        draw, c, r = imgui.get_window_draw_list(), u32(colour), size * 0.5
        line = max(1.3 * self.scale, 1.0)
        if kind == "solo":
            draw.add_circle_filled(ImVec2(x, y), r * 0.42, c, 16)
            draw.add_circle(ImVec2(x, y), r * 0.85, c, 20, line)
        elif kind == "mute":
            draw.add_circle(ImVec2(x, y), r * 0.8, c, 20, line)
            draw.add_line(ImVec2(x - r * 0.6, y + r * 0.6), ImVec2(x + r * 0.6, y - r * 0.6), c, line)
        elif kind == "lock":
            draw.add_rect_filled(ImVec2(x - r * 0.62, y - r * 0.1), ImVec2(x + r * 0.62, y + r * 0.8), c, 1.5)
            draw.path_arc_to(ImVec2(x, y - r * 0.1), r * 0.42, math.pi, 2 * math.pi, 10)
            draw.path_stroke(c, line)
        elif kind == "add":
            draw.add_line(ImVec2(x - r * 0.7, y), ImVec2(x + r * 0.7, y), c, line * 1.2)
            draw.add_line(ImVec2(x, y - r * 0.7), ImVec2(x, y + r * 0.7), c, line * 1.2)
        elif kind == "replace":
            for dy in (-0.32, 0.32):
                draw.add_line(ImVec2(x - r * 0.7, y + dy * r), ImVec2(x + r * 0.7, y + dy * r), c, line * 1.2)
        elif kind == "mirror":
            draw.add_line(ImVec2(x, y - r * 0.9), ImVec2(x, y + r * 0.9), c, line)
            draw.add_triangle_filled(
                ImVec2(x + r * 0.3, y - r * 0.55), ImVec2(x + r * 0.3, y + r * 0.55), ImVec2(x + r, y), c
            )
            draw.add_triangle(
                ImVec2(x - r * 0.3, y - r * 0.55), ImVec2(x - r * 0.3, y + r * 0.55), ImVec2(x - r, y), c, line
            )
        elif kind == "star":
            turns = [math.radians(-90 + 36 * i) for i in range(10)]
            points: list[Any] = [
                ImVec2(x + r * (0.95, 0.42)[i % 2] * math.cos(a), y + r * (0.95, 0.42)[i % 2] * math.sin(a))
                for i, a in enumerate(turns)
            ]
            draw.add_concave_poly_filled(points, c)
        else:
            draw.add_circle_filled(ImVec2(x, y), r * 0.5, c, 14)


def nothing() -> imgui.ImVec4:
    """No colour at all."""
    return imgui.ImVec4(0, 0, 0, 0)
