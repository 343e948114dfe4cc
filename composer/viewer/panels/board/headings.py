"""The names of the board's rows and the pictures over its columns."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.mixing.recipe import ALL
from composer.viewer.panels.board.layout import HEAD_HIGH, Layout
from composer.viewer.panels.swatch import swatch
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

NAME_ROOM = 56.0
"""What the swatch and one sign take of the width of a row's name, in pixels at scale 1."""


def draw_names(stage: Stage, kit: Kit, layout: Layout) -> None:
    """The names of the rows in sight, each with its region's swatch and its signs."""
    session, draw = stage.opened, imgui.get_window_draw_list()
    used = set(stage.seen_recipe.regions)
    signs = session.signs
    x, wide, high = layout.x, layout.left - layout.x, layout.high
    words_of = kit.apart(session.region_names[1:], wide - kit.px(NAME_ROOM))
    for i, name in enumerate(layout.rows):
        y = layout.cells_y + i * high
        if y > layout.bottom or y + high < layout.top:
            continue
        chosen = name == session.region
        if chosen or (layout.on_name and i == layout.row):
            ground = theme.RAISED if chosen else theme.SLATE
            draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(ground))
        if name in signs:
            swatch(kit, signs[name], x + kit.px(17), y + high / 2)
        after = _signs(stage, name)
        words = words_of[name] if name != ALL else kit.fit("base, all of the face", wide - kit.px(NAME_ROOM))
        at = ImVec2(x + kit.px(34 if name in signs else 10), y + (high - imgui.get_font_size()) / 2)
        draw.add_text(at, u32(theme.TEXT if name in used or chosen else theme.QUIET), words)
        if len(after) > 1:  # they lie over the name's end
            behind = ImVec2(x + wide - kit.px(4 + 17 * len(after)), y + kit.px(3))
            draw.add_rect_filled(behind, ImVec2(x + wide, y + high - kit.px(3)), u32(theme.DEEP, 0.8), kit.px(4))
        for n, (kind, ink) in enumerate(reversed(after)):
            kit.sign(kind, x + wide - kit.px(12 + 17 * n), y + high / 2, kit.px(12), ink)
        kit.seen[f"row {name}"] = (x, y, x + wide, y + high)


def _signs(stage: Stage, name: str) -> list[tuple[str, theme.Ink]]:
    """What the end of a row's name says: it replaces the base, is soloed, muted, locked."""
    session, mark = stage.opened, ("row", name)
    row = session.recipe.row(name)
    region = next((r for r in session.project.regions if r.name == name), None)
    signs = [("replace", theme.SAND)] if row.kind == "replace" else []
    signs += [("solo", theme.SAND)] if mark in session.held.solo else []
    signs += [("mute", theme.CORAL)] if row.amount == 0.0 or mark in session.held.mute else []
    signs += [("lock", theme.QUIET)] if mark in session.held.lock or (region and region.locked) else []
    return signs


def draw_heads(stage: Stage, kit: Kit, layout: Layout) -> None:
    """The columns in sight, each with its shape's picture and label."""
    session, draw = stage.opened, imgui.get_window_draw_list()
    wide, high, y, side = layout.wide, layout.top - layout.y, layout.y, kit.px(38)
    low, top = draw.get_clip_rect_min(), draw.get_clip_rect_max()
    for j, name in enumerate(layout.columns):
        x = layout.cells_x + j * wide
        if x + wide < low.x or x > top.x:
            continue
        if name == session.shape or (layout.on_head and j == layout.column):
            ground = theme.RAISED if name == session.shape else theme.SLATE
            draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(ground))
        picture = kit.picture("shape", name) if high >= kit.px(HEAD_HIGH) else None
        if picture:
            box = ImVec2(x + (wide - side) / 2, y + kit.px(3)), ImVec2(x + (wide + side) / 2, y + kit.px(3) + side)
            draw.add_image_rounded(
                imgui.ImTextureRef(picture), *box, ImVec2(0, 0), ImVec2(1, 1), u32(theme.TEXT), kit.px(5)
            )
        lines = layout.words[name]
        tall = imgui.get_text_line_height() * (2 if lines[1] else 1)
        kit.label(lines, x, y + high - tall - kit.px(2), wide, u32(theme.TEXT))
        kinds = [kind for kind in ("solo", "mute", "lock") if ("column", name) in getattr(session.held, kind)]
        for n, kind in enumerate(kinds):
            kit.sign(kind, x + wide - kit.px(9), y + kit.px(10 + 13 * n), kit.px(11), theme.SAND)
        kit.seen[f"column {name}"] = (x, y, x + wide, y + high)
