"""The window's own look: inks, spacing and the typeface.

Slate panels with the sand of a beach as the one accent; text never below a contrast of 4.5 on its ground (Web
Content Accessibility Guidelines 2.1, success criterion 1.4.3). What a colour says, a shape or a word says too.
"""

from __future__ import annotations

from dataclasses import dataclass

from imgui_bundle import imgui

from composer.picture.labels import FONTS
from composer.picture.letter_order import as_drawn
from composer.viewer.ui.machine_fonts import more_faces

Ink = tuple[float, float, float, float]


def ink(code: int, alpha: float = 1.0) -> Ink:
    """The colour 0xRRGGBB with an alpha in [0, 1]."""
    return ((code >> 16 & 255) / 255.0, (code >> 8 & 255) / 255.0, (code & 255) / 255.0, alpha)


SLATE, DEEP, RAISED, EDGE = ink(0x263137), ink(0x1D262B), ink(0x33424A), ink(0x45575F)
TEXT, QUIET, SAND, DARK = ink(0xEDF0EA), ink(0xA9B6B6), ink(0xE3BC85), ink(0x151B1F)
WELL = ink(0x151C20)
TIDE, CORAL, MOSS, ORANGE = ink(0x6FB2C4), ink(0xE8927C), ink(0x9FBF8F), ink(0xF08A3C)
HOVER, HELD = ink(0x3D4E57), ink(0x4A5E68)
TEXT_SIZE = 15.0
WIDE, GAP, TIGHT = 12.0, 8.0, 4.0
SIDES = 6
"""Letters at the end of a name that are kept where it is shortened: its side."""


@dataclass
class Faces:
    """The two weights of the typeface."""

    plain: imgui.ImFont
    bold: imgui.ImFont


def u32(colour: Ink, alpha: float = 1.0) -> int:
    """A colour as draw lists take it."""
    return imgui.color_convert_float4_to_u32(imgui.ImVec4(colour[0], colour[1], colour[2], colour[3] * alpha))


def vec4(colour: Ink) -> imgui.ImVec4:
    """A colour as widgets take it."""
    return imgui.ImVec4(*colour)


def faces() -> Faces:
    """Load the typeface into the current ImGui context."""
    fonts = imgui.get_io().fonts
    loaded = []
    for name in ("Inter-Regular.ttf", "Inter-SemiBold.ttf"):
        loaded.append(fonts.add_font_from_file_ttf(str(FONTS / name), 0.0))
        for face in more_faces():  # letters that Inter lacks
            how = imgui.ImFontConfig()
            how.merge_mode = True
            fonts.add_font_from_file_ttf(str(face), 0.0, how)
    return Faces(*loaded)


def letters_missing(face: imgui.ImFont, names: list[str]) -> str:
    """The first of these names that has a letter which no typeface of this machine can draw, "" where all can."""
    drawn = ((name, as_drawn(name)) for name in names if not name.isascii())
    return next((name for name, text in drawn if not all(face.is_glyph_in_font(ord(c)) for c in text)), "")


def dress(scale: float = 1.0) -> None:
    """Put the look on the current ImGui context, at a scale of the interface (1 as drawn, 1.5 larger)."""
    style = imgui.get_style()
    style.font_size_base = TEXT_SIZE
    style.font_scale_main = scale
    style.window_padding = imgui.ImVec2(WIDE, WIDE)
    style.frame_padding = imgui.ImVec2(9, 5)
    style.item_spacing = imgui.ImVec2(GAP, 7)
    style.item_inner_spacing = imgui.ImVec2(6, 5)
    style.cell_padding = imgui.ImVec2(5, 3)
    style.window_rounding = style.child_rounding = 0.0
    style.popup_rounding, style.frame_rounding, style.grab_rounding = 7.0, 5.0, 5.0
    style.scrollbar_size, style.scrollbar_rounding, style.grab_min_size = 11.0, 6.0, 10.0
    style.window_border_size, style.child_border_size, style.frame_border_size = 0.0, 0.0, 0.0
    style.popup_border_size = 1.0
    style.hover_delay_normal, style.hover_delay_short = 0.45, 0.2
    style.scale_all_sizes(scale)
    c = imgui.Col_
    for place, colour in (
        (c.text, TEXT), (c.text_disabled, QUIET), (c.window_bg, SLATE), (c.child_bg, ink(0, 0.0)), (c.popup_bg, SLATE),
        (c.border, EDGE), (c.frame_bg, WELL), (c.frame_bg_hovered, ink(0x2B373D)), (c.frame_bg_active, RAISED),
        (c.title_bg, DEEP), (c.title_bg_active, DEEP), (c.title_bg_collapsed, DEEP), (c.menu_bar_bg, DEEP),
        (c.scrollbar_bg, ink(0, 0.0)), (c.scrollbar_grab, RAISED), (c.scrollbar_grab_hovered, HOVER),
        (c.scrollbar_grab_active, HELD), (c.check_mark, SAND), (c.slider_grab, SAND), (c.slider_grab_active, TEXT),
        (c.button, RAISED), (c.button_hovered, HOVER), (c.button_active, HELD), (c.header, RAISED),
        (c.header_hovered, HOVER), (c.header_active, HELD), (c.separator, EDGE), (c.separator_hovered, SAND),
        (c.separator_active, SAND), (c.resize_grip, ink(0, 0.0)), (c.text_selected_bg, ink(0x6FB2C4, 0.45)),
        (c.drag_drop_target, SAND), (c.nav_cursor, SAND), (c.modal_window_dim_bg, ink(0x0E1316, 0.55)),
        (c.plot_histogram, SAND), (c.tab, SLATE), (c.tab_hovered, HOVER), (c.tab_selected, RAISED),
    ):  # fmt: skip
        style.set_color_(place, vec4(colour))
