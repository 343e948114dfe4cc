"""The whole board as a panel: the line above, the matrix, its menu, and the correctives below."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.viewer.panels.board.correctives import draw_correctives
from composer.viewer.panels.board.first_steps import draw_first_steps
from composer.viewer.panels.board.layout import layout_of
from composer.viewer.panels.board.matrix import draw_matrix
from composer.viewer.panels.board.picked import picked_keys
from composer.viewer.panels.board.pointer import follow_pointer
from composer.viewer.panels.board.row_menu import row_menu
from composer.viewer.panels.board.state import Board
from composer.viewer.panels.board.typing_field import draw_typing_field
from composer.viewer.session.percent import weight_words
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit

CELLS = "cells of the board"
FOOT = 36.0
"""Height of the line of correctives, in pixels at scale 1."""


def draw_board(stage: Stage, kit: Kit, board: Board) -> None:
    """The whole panel."""
    session = stage.opened
    _bar(stage, kit, board)
    if not session.project.recipes:
        draw_first_steps(stage, kit)
        return
    imgui.push_style_color(imgui.Col_.child_bg, theme.vec4(theme.DEEP))
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(0, 0))
    flags = imgui.WindowFlags_.horizontal_scrollbar | imgui.WindowFlags_.no_scroll_with_mouse
    foot = -kit.px(FOOT) if session.project.correctives else 0.0
    _stop(kit, board, foot)
    imgui.begin_child("matrix", ImVec2(0, foot), imgui.ChildFlags_.none, flags | imgui.WindowFlags_.no_nav)
    layout = layout_of(board, stage, kit)
    draw_matrix(board, stage, kit, layout)
    follow_pointer(board, stage, kit, layout)
    draw_typing_field(board, stage, kit, layout)
    if board.asking:
        board.asking = False
        imgui.open_popup("row menu")
    row_menu(stage, kit, board.menu)
    imgui.end_child()
    imgui.pop_style_var()
    imgui.pop_style_color()
    if session.project.correctives:
        draw_correctives(stage, kit)


def _stop(kit: Kit, board: Board, foot: float) -> None:
    """The cells are one stop of Tab: arrows walk over them from there (WAI-ARIA Authoring Practices 1.2, "Grid")."""
    at, room = imgui.get_cursor_pos(), imgui.get_content_region_avail()
    imgui.set_next_item_allow_overlap()
    imgui.invisible_button("##cells", ImVec2(room.x, max(room.y + foot, 1.0)), imgui.ButtonFlags_.enable_nav)
    kit.mark(CELLS)
    board.walked = imgui.is_item_focused() and imgui.get_io().nav_visible
    if board.walks_back and board.typing is None:
        board.walks_back = False
        kit.stops.go_to((kit.stops.panel, CELLS))
    imgui.set_cursor_pos(at)


def _bar(stage: Stage, kit: Kit, board: Board) -> None:
    """The line above the matrix."""
    session = stage.opened
    imgui.align_text_to_frame_padding()
    with kit.bold():
        imgui.text("Board")
    imgui.same_line(0, kit.px(14))
    if kit.button("Every region", "show rows of all regions, not only of those in use", on=not board.used_rows):
        board.used_rows = not board.used_rows
    kit.beside("Every shape")
    if kit.button("Every shape", "show columns of all shapes, not only of those in use", on=not board.used_columns):
        board.used_columns = not board.used_columns
    kit.beside("Both sides", 14)
    if kit.button("Both sides", "edits on one side are made on the other side, too", "link", on=session.linked):
        session.linked = not session.linked
    kit.beside("Mirrored")
    if kit.button("Mirrored", "new cells take the shape's mirror image", on=board.mirrored):
        board.mirrored = not board.mirrored
    kit.beside("search", 14)
    wide = min(kit.px(150), imgui.get_content_region_avail().x)
    tip = "show the rows and columns of these names alone: brow, mouth joy"
    board.search = kit.search("search cells", board.search, tip=tip, wide=wide)
    if session.held.hides:
        kit.beside("Clear solo and mute", 14)
        hint = "solo and mute hide something from view; a bake has all of it"
        if kit.button("Clear solo and mute", hint, name="Show all again"):
            session.held.solo.clear()
            session.held.mute.clear()
            session.follow()
    imgui.same_line(0, kit.px(14))
    words = _chosen_words(stage, board)
    kit.quiet(kit.fit(words, imgui.get_content_region_avail().x))
    kit.tip(words)


def _chosen_words(stage: Stage, board: Board) -> str:
    session = stage.opened
    if not session.shape:
        return "choose a shape in the tray"
    several = len(picked_keys(board, stage))
    if several > 1:
        return f"{several} cells selected"
    weight = session.weight((session.region, session.shape, board.mirrored))
    return f"{session.region}  ×  {session.shape}" + ("" if weight is None else f"  {weight_words(weight)}")
