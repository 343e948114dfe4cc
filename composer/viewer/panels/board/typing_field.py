"""The field over a cell in which its weight is typed."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.mixing.recipe import Cell, CellKey
from composer.viewer.panels.board.layout import Layout
from composer.viewer.panels.board.state import Board
from composer.viewer.session.cell_edits import cells_edit
from composer.viewer.session.percent import read_weight
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit


def draw_typing_field(board: Board, stage: Stage, kit: Kit, layout: Layout) -> None:
    """The field, while a weight is typed; Enter or a click elsewhere takes what is in it, Escape does not."""
    key = board.typing
    if key is None:
        return
    if key[0] not in layout.rows or key[1] not in layout.columns:
        board.typing = None
        return
    x = layout.cells_x + layout.columns.index(key[1]) * layout.wide
    y = layout.cells_y + layout.rows.index(key[0]) * layout.high
    imgui.set_cursor_screen_pos(ImVec2(x, y))
    imgui.set_next_item_width(layout.wide)
    fresh = not board.focused
    if fresh:
        imgui.set_keyboard_focus_here()
        board.focused = True
    flags = imgui.InputTextFlags_.enter_returns_true | imgui.InputTextFlags_.auto_select_all
    entered, board.typed = imgui.input_text("##weight", board.typed, flags)
    kit.mark("typed weight")
    kit.tip("in percent: 60 or 60%; 0.6 and 0,6 are the same")
    if entered or (not fresh and imgui.is_item_deactivated()):
        board.typing, board.focused = None, False
        if not imgui.is_key_pressed(imgui.Key.escape):
            stage.guard(lambda: _take(board, stage, key))


def _take(board: Board, stage: Stage, key: CellKey) -> None:
    weight = read_weight(board.typed)
    stage.opened.apply(cells_edit(stage, Cell(key[0], key[1], weight, key[2])))
