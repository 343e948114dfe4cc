"""The frames that panels are drawn in: a panel, the strip over the view, and the edges by which panels are dragged and
folded."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from imgui_bundle import ImVec2, imgui

from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

FIXED = (
    imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
    | imgui.WindowFlags_.no_bring_to_front_on_focus
)  # fmt: skip
NARROW, NARROW_PAD = 215.0, 8.0
"""Below this width or height a panel has this padding, in pixels at scale 1."""
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
    scale = imgui.get_style().font_scale_main
    if pad is None and min(wide, high) < NARROW * scale:
        pad = NARROW_PAD * scale
    if pad is not None:
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(pad * 1.5 if high < wide else pad, pad))
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


TAB_LONG, TAB_THICK = 46.0, 13.0
"""Size of the tab on a panel's edge that folds it, in pixels at scale 1."""


def edge(kit: Kit, side: str, name: str, box: tuple[float, float, float, float], hint: str) -> tuple[float, bool]:
    """The edge of a panel on this side of the view, in a box (left, top, width, height): how far it was dragged in this
    frame, in points, and whether its tab, which folds the panel, was pressed."""
    x, y, wide, high = box
    upright = side != "foot"
    long, thick = kit.px(TAB_LONG), kit.px(TAB_THICK)
    tab = (x + (wide - thick) / 2, y + (high - long) / 2, thick, long) if upright else (
        x + (wide - long) / 2, y + (high - thick) / 2, long, thick)  # fmt: skip
    grown = (min(x, tab[0]), min(y, tab[1]), max(wide, tab[2]), max(high, tab[3]))
    with _bare(name, grown):
        imgui.set_cursor_screen_pos(ImVec2(x, y))
        imgui.set_next_item_allow_overlap()
        imgui.invisible_button(f"drag {name}", ImVec2(wide, high))
        kit.mark(f"edge {name}")
        moved, active, over = 0.0, imgui.is_item_active(), imgui.is_item_hovered()
        imgui.set_cursor_screen_pos(ImVec2(tab[0], tab[1]))
        pressed = imgui.invisible_button(f"fold {name}", ImVec2(tab[2], tab[3]))
        kit.mark(f"fold {name}")
        over_tab = imgui.is_item_hovered()
        kit.tip(hint, f"fold_{side}")
        if (over and not over_tab) or active:
            imgui.set_mouse_cursor(imgui.MouseCursor_.resize_ew if upright else imgui.MouseCursor_.resize_ns)
            draw = imgui.get_window_draw_list()
            draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(theme.SAND, 0.55))
        if active:
            delta = imgui.get_io().mouse_delta
            moved = delta.x if upright else delta.y
        _tab(kit, side, tab, over_tab, shut=False)
    return moved, pressed


def wipe_line(kit: Kit, x: float, top: float, high: float) -> float:
    """An upright line over the view that can be dragged; how far it went in this frame, in points."""
    wide, foot = kit.px(10), top + high - kit.px(40)
    start = top + kit.px(80)
    with _bare("wipe", (x - wide / 2, start, wide, max(foot - start, 1.0))):
        imgui.invisible_button("wipe line", ImVec2(wide, max(foot - start, 1.0)))
        kit.mark("wipe line")
        held = imgui.is_item_active()
        if held or imgui.is_item_hovered():
            imgui.set_mouse_cursor(imgui.MouseCursor_.resize_ew)
        ink = theme.SAND if held or imgui.is_item_hovered() else theme.TEXT
        moved = float(imgui.get_io().mouse_delta.x) if held else 0.0
    draw = imgui.get_background_draw_list()
    draw.add_line(ImVec2(x, top), ImVec2(x, top + high), u32(theme.DEEP, 0.7), kit.px(3))
    draw.add_line(ImVec2(x, top), ImVec2(x, top + high), u32(ink), kit.px(1.4))
    return moved


def folded(kit: Kit, side: str, name: str, box: tuple[float, float, float, float], hint: str) -> bool:
    """What is left of a folded panel: a strip that unfolds it; whether it was pressed."""
    x, y, wide, high = box
    with _bare(name, box):
        pressed = imgui.invisible_button(f"unfold {name}", ImVec2(wide, high))
        kit.mark(f"unfold {name}")
        over = imgui.is_item_hovered()
        kit.tip(hint, f"fold_{side}")
        ground = theme.HOVER if over else theme.SLATE
        imgui.get_window_draw_list().add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(ground))
        long, thick = kit.px(TAB_LONG), kit.px(TAB_THICK)
        size = (thick, long) if side != "foot" else (long, thick)
        _tab(kit, side, (x + (wide - size[0]) / 2, y + (high - size[1]) / 2, *size), over, shut=True)
    return pressed


@contextmanager
def _bare(name: str, box: tuple[float, float, float, float]) -> Iterator[None]:
    """A window without a ground, padding or place for the keyboard."""
    x, y, wide, high = box
    imgui.set_next_window_pos(ImVec2(x, y))
    imgui.set_next_window_size(ImVec2(max(wide, 1.0), max(high, 1.0)))
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(0, 0))
    imgui.push_style_var(imgui.StyleVar_.window_min_size, ImVec2(1, 1))
    flags = imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
    imgui.begin(f"edge {name}", None, flags | imgui.WindowFlags_.no_background | imgui.WindowFlags_.no_nav)
    try:
        yield
    finally:
        imgui.end()
        imgui.pop_style_var(2)


def _tab(kit: Kit, side: str, box: tuple[float, float, float, float], over: bool, shut: bool) -> None:
    """A small tab with an arrow that points to where the panel's edge goes."""
    x, y, wide, high = box
    draw = imgui.get_window_draw_list()
    draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(theme.SAND if over else theme.RAISED), kit.px(5))
    ink, r = u32(theme.DARK if over else theme.QUIET), kit.px(3.2)
    cx, cy = x + wide / 2, y + high / 2
    toward = {"left": (-1, 0), "right": (1, 0), "foot": (0, 1)}[side]
    dx, dy = (-toward[0], -toward[1]) if shut else toward
    points: list[Any] = [ImVec2(cx - dx * r / 2 - dy * r, cy - dy * r / 2 - dx * r), ImVec2(cx + dx * r, cy + dy * r),
              ImVec2(cx - dx * r / 2 + dy * r, cy - dy * r / 2 + dx * r)]  # fmt: skip
    draw.add_polyline(points, ink, kit.px(1.6), 0)
