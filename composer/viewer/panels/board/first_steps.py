"""What stands in the place of the board until there is a recipe: the way from a library to a target, in four lines."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

STEPS = (
    "Point at the face: the region under the pointer is outlined and named.",
    "Drag a picture from the shapes onto it: that region alone takes the shape.",
    "The shape's weight is then a cell here: drag it, or point at it and type 60.",
    "Bake, at the top, writes what you see as a new target.",
)
NO_SHAPES = "This head has no shapes yet: its regions can be painted, and there is nothing to mix."
COMING = "The shapes and their regions are still being read."


def draw_first_steps(stage: Stage, kit: Kit) -> None:
    """The lines, each with its number."""
    session = stage.opened
    if session.arriving or not session.head.shapes:
        imgui.push_text_wrap_pos(0)
        kit.quiet(COMING if session.arriving else NO_SHAPES)
        imgui.pop_text_wrap_pos()
        return
    draw, disc = imgui.get_window_draw_list(), kit.px(18)
    imgui.dummy(ImVec2(0, kit.px(2)))
    for number, words in enumerate(STEPS, 1):
        at, tall = imgui.get_cursor_screen_pos(), imgui.get_text_line_height()
        middle = ImVec2(at.x + disc / 2, at.y + tall / 2)
        draw.add_circle_filled(middle, disc / 2, u32(theme.RAISED), 20)
        digit = imgui.calc_text_size(str(number))
        draw.add_text(ImVec2(middle.x - digit.x / 2, middle.y - digit.y / 2), u32(theme.SAND), str(number))
        imgui.dummy(ImVec2(disc, tall))
        imgui.same_line(0, kit.px(8))
        imgui.push_text_wrap_pos(0)
        kit.quiet(words)
        imgui.pop_text_wrap_pos()
        imgui.dummy(ImVec2(0, kit.px(1)))
