"""How the board is drawn: the matrix of cells with the names of its rows and the heads of its columns."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.viewer.panels.board.draw_cell import draw_cell
from composer.viewer.panels.board.headings import draw_heads, draw_names
from composer.viewer.panels.board.layout import Layout
from composer.viewer.panels.board.picked import picked_keys
from composer.viewer.panels.board.state import Board
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32


def draw_matrix(board: Board, stage: Stage, kit: Kit, layout: Layout) -> None:
    """Cells, names and heads, each clipped to where it may lie, and the lines between them."""
    draw = imgui.get_window_draw_list()
    corner, end = ImVec2(layout.x, layout.y), ImVec2(layout.right, layout.bottom)
    origin = ImVec2(layout.left, layout.top)
    draw.push_clip_rect(origin, end, True)
    _draw_cells(board, stage, kit, layout)
    draw.pop_clip_rect()
    draw.push_clip_rect(ImVec2(layout.x, layout.top), ImVec2(layout.left, layout.bottom), True)
    draw_names(stage, kit, layout)
    draw.pop_clip_rect()
    draw.push_clip_rect(ImVec2(layout.left, layout.y), ImVec2(layout.right, layout.top), True)
    draw_heads(stage, kit, layout)
    draw.pop_clip_rect()
    draw.add_rect_filled(corner, origin, u32(theme.DEEP))
    draw.add_text(ImVec2(layout.x + kit.px(10), layout.top - kit.px(20)), u32(theme.QUIET), "region")
    draw.add_line(ImVec2(layout.x, layout.top), ImVec2(layout.right, layout.top), u32(theme.EDGE))
    draw.add_line(ImVec2(layout.left, layout.y), ImVec2(layout.left, layout.bottom), u32(theme.EDGE))
    if not layout.columns:
        words, y = "Drop pictures from the tray on the face, or here.", (layout.high - imgui.get_font_size()) / 2
        draw.add_text(ImVec2(layout.left + kit.px(14), layout.top + y), u32(theme.QUIET), words)


def _draw_cells(board: Board, stage: Stage, kit: Kit, layout: Layout) -> None:
    """Every cell that is in sight; a place without one has a dot, and a frame under the pointer."""
    session, draw, gap = stage.opened, imgui.get_window_draw_list(), kit.px(1.5)
    wide, high = layout.wide, layout.high
    low, top = draw.get_clip_rect_min(), draw.get_clip_rect_max()
    cells, picked = {cell.key: cell for cell in stage.seen_recipe.cells}, picked_keys(board, stage)
    lines = range(max(int((low.y - layout.cells_y) // high), 0),
                  min(int((top.y - layout.cells_y) // high) + 1, len(layout.rows)))  # fmt: skip
    places = range(max(int((low.x - layout.cells_x) // wide), 0),
                   min(int((top.x - layout.cells_x) // wide) + 1, len(layout.columns)))  # fmt: skip
    for i in lines:
        region, y = layout.rows[i], layout.cells_y + i * high
        if region == session.region:
            draw.add_rect_filled(ImVec2(low.x, y), ImVec2(top.x, y + high), u32(theme.SLATE))
        for j in places:
            shape, x = layout.columns[j], layout.cells_x + j * wide
            if shape == session.shape:
                draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(theme.SLATE))
            low_in, high_in = ImVec2(x + gap, y + gap), ImVec2(x + wide - gap, y + high - gap)
            kit.seen[f"cell {region} {shape}"] = (low_in.x, low_in.y, high_in.x, high_in.y)
            listed = [cells[k] for m in (False, True) if (k := (region, shape, m)) in cells]
            part = (wide - 2 * gap) / max(len(listed), 1)
            for n, cell in enumerate(listed):
                draw_cell(stage, kit, cell, x + gap + n * part, y + gap, part, high - 2 * gap)
            if not listed and (i, j) == (layout.row, layout.column):
                draw.add_rect(low_in, high_in, u32(theme.EDGE), kit.px(4))
            elif not listed:
                draw.add_circle_filled(ImVec2(x + wide / 2, y + high / 2), kit.px(1.4), u32(theme.EDGE), 8)
            if any(cell.key in picked for cell in listed):
                draw.add_rect(low_in, high_in, u32(theme.TEXT), kit.px(4), kit.px(1.6))
            if (region, shape) == (session.region, session.shape):
                draw.add_rect(low_in, high_in, u32(theme.SAND), kit.px(4), kit.px(1.6))
                if board.walked:
                    out = kit.px(2.5)
                    low_out, high_out = ImVec2(low_in.x - out, low_in.y - out), ImVec2(high_in.x + out, high_in.y + out)
                    draw.add_rect(low_out, high_out, u32(theme.TEXT), kit.px(6), kit.px(2.2))
