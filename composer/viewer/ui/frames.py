"""The frames that panels are drawn in: a panel, the strip over the view, and the splitters between panels."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from imgui_bundle import ImVec2, imgui

from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

FIXED = (
    imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
    | imgui.WindowFlags_.no_bring_to_front_on_focus
)  # fmt: skip
BAR = 44.0
"""Height of a line of buttons over the view, in pixels at scale 1."""


@contextmanager
def panel(
    name: str, x: float, y: float, wide: float, high: float, ground: theme.Ink = theme.SLATE, pad: float | None = None
) -> Iterator[None]:
    """A panel at (x, y) of this size, in points, on a ground; `pad` is its padding where it is not the usual one."""
    imgui.set_next_window_pos(ImVec2(x, y))
    imgui.set_next_window_size(ImVec2(max(wide, 1.0), max(high, 1.0)))
    imgui.push_style_color(imgui.Col_.window_bg, theme.vec4(ground))
    if pad is not None:
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(pad * 1.5, pad))
    imgui.begin(name, None, FIXED)
    if pad is not None:
        imgui.pop_style_var()
    try:
        yield
    finally:
        imgui.end()
        imgui.pop_style_color()


@contextmanager
def strip_over_view(view: tuple[float, float, float, float], scale: float, one_line: float) -> Iterator[None]:
    """A strip without a ground along the top of a view (left, top, width, height); a view narrower than `one_line` at
    scale 1 has two lines of it."""
    left, top, width, height = view
    imgui.set_next_window_pos(ImVec2(left, top))
    lines = 1.0 if width >= one_line * scale else 1.7
    imgui.set_next_window_size(ImVec2(width, min(BAR * scale * lines, height)))
    flags = FIXED | imgui.WindowFlags_.no_background | imgui.WindowFlags_.no_scroll_with_mouse
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(0, 0))
    imgui.begin("over view", None, flags)
    imgui.pop_style_var()
    try:
        yield
    finally:
        imgui.end()


def splitter(kit: Kit, name: str, x: float, y: float, wide: float, high: float, upright: bool) -> float:
    """A strip between two panels that can be dragged; how far it went in this frame."""
    imgui.set_next_window_pos(ImVec2(x, y))
    imgui.set_next_window_size(ImVec2(wide, high))
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(0, 0))
    imgui.push_style_var(imgui.StyleVar_.window_min_size, ImVec2(1, 1))
    flags = imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
    imgui.begin(name, None, flags | imgui.WindowFlags_.no_background | imgui.WindowFlags_.no_nav)
    imgui.invisible_button(name, ImVec2(wide, high))
    kit.mark(name)
    moved = 0.0
    if imgui.is_item_hovered() or imgui.is_item_active():
        imgui.set_mouse_cursor(imgui.MouseCursor_.resize_ew if upright else imgui.MouseCursor_.resize_ns)
        draw = imgui.get_window_draw_list()
        draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(theme.SAND, 0.55))
    if imgui.is_item_active():
        delta = imgui.get_io().mouse_delta
        moved = delta.x if upright else delta.y
    imgui.end()
    imgui.pop_style_var(2)
    return moved
