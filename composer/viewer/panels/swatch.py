"""A region's colour and its number, so that colour is never the only sign."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.document.region_signs import Sign
from composer.picture.palette import region_colour
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32


def swatch(kit: Kit, sign: Sign, x: float, y: float, draw: imgui.ImDrawList | None = None) -> None:
    """Draw the swatch of a region, its number on its colour, with its middle at (x, y)."""
    red, green, blue = region_colour(sign.hue)
    draw, r = draw or imgui.get_window_draw_list(), kit.px(10)
    low, high = ImVec2(x - r, y - r * 0.8), ImVec2(x + r, y + r * 0.8)
    draw.add_rect_filled(low, high, u32((red / 255, green / 255, blue / 255, 1.0)), kit.px(4))
    words, size = str(sign.number), kit.px(11)
    wide = imgui.calc_text_size(words).x * size / imgui.get_font_size()
    draw.add_text(kit.faces.bold, size, ImVec2(x - wide / 2, y - size * 0.56), u32(theme.DARK), words)
