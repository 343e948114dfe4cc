"""How one weight is drawn: a bar as long as the weight, and its number."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.mixing.recipe import Cell
from composer.viewer.session.percent import weight_words
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

DIMMED = 0.25
"""Opacity of a bar that solo or mute hides from view."""


def draw_cell(stage: Stage, kit: Kit, cell: Cell, x: float, y: float, wide: float, high: float) -> None:
    """Draw a cell into a box at (x, y): below zero the bar comes from the right in another colour; above one a second
    bar lies along its foot."""
    session = stage.opened
    draw, shown = imgui.get_window_draw_list(), session.held.shows(cell.key)
    draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(theme.RAISED), kit.px(4))
    length = min(abs(cell.weight), 1.0) * wide
    begin = x if cell.weight >= 0 else x + wide - length
    if length > 1.0:
        colour = theme.TIDE if cell.weight >= 0 else theme.CORAL
        ends = ImVec2(begin, y), ImVec2(begin + length, y + high)
        draw.add_rect_filled(*ends, u32(colour, 0.85 if shown else DIMMED), kit.px(4))
    if cell.weight > 1.0:
        beyond = ImVec2(x + (cell.weight - 1.0) * wide, y + high)
        draw.add_rect_filled(ImVec2(x, y + high - kit.px(4)), beyond, u32(theme.SAND), kit.px(2))
    words = weight_words(cell.weight)
    size = imgui.calc_text_size(words)
    ink = theme.DARK if shown and length > wide * 0.6 else theme.TEXT
    draw.add_text(ImVec2(x + (wide - size.x) / 2, y + (high - size.y) / 2), u32(ink), words)
    if cell.mirrored:
        kit.sign("mirror", x + wide - kit.px(9), y + high / 2, kit.px(11), ink)
    if session.held.locked(cell.key):
        kit.sign("lock", x + kit.px(9), y + high / 2, kit.px(11), ink)
    elif not shown:
        kit.sign("mute", x + kit.px(9), y + high / 2, kit.px(11), theme.QUIET)
