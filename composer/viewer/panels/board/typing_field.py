"""The field over a cell in which its weight is typed, and under it what was wrong with what was typed."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.errors import MoueError
from composer.mixing.recipe import Cell, CellKey
from composer.viewer.panels.board.layout import Layout
from composer.viewer.panels.board.picked import together
from composer.viewer.panels.board.state import Board
from composer.viewer.session.cell_edits import cells_edit
from composer.viewer.session.percent import read_weight
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32


def draw_typing_field(board: Board, stage: Stage, kit: Kit, layout: Layout) -> None:
    """The field, while a weight is typed; Enter or a click elsewhere takes what is in it, Escape does not. After Enter
    on what is no weight the field stays, with the fault under it; a click elsewhere leaves the cell as it was."""
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
    entered, board.typed = kit.text_field("typed weight", board.typed, flags=flags)
    if board.fault:
        _fault(kit, board.fault, x, y + layout.high)
    else:
        kit.tip("in percent: 60 or 60%; 0.6 and 0,6 are the same")
    if entered or (not fresh and imgui.is_item_deactivated()):
        escaped = imgui.is_key_pressed(imgui.Key.escape)
        board.fault = "" if escaped else _refused(board, stage, key)
        board.focused = False
        if not (entered and board.fault):
            board.typing, board.fault = None, ""


def _refused(board: Board, stage: Stage, key: CellKey) -> str:
    """Take what was typed as the cell's weight; why it is refused, "" where it was taken."""
    try:
        weight = read_weight(board.typed)
    except MoueError as error:
        return str(error)
    cells = (Cell(c.region, c.shape, weight, c.mirrored) for c in together(board, stage, key))
    stage.do(cells_edit(stage, *cells))
    return ""


def _fault(kit: Kit, words: str, x: float, y: float) -> None:
    """A fault right under the field that it is about."""
    draw, size = imgui.get_foreground_draw_list(), imgui.calc_text_size(words)
    x = min(x, imgui.get_io().display_size.x - size.x - kit.px(16))
    low, high = ImVec2(x, y + kit.px(3)), ImVec2(x + size.x + kit.px(14), y + size.y + kit.px(11))
    draw.add_rect_filled(low, high, u32(theme.DEEP), kit.px(5))
    draw.add_rect(low, high, u32(theme.CORAL), kit.px(5), kit.px(1.2))
    draw.add_text(ImVec2(x + kit.px(7), y + kit.px(7)), u32(theme.TEXT), words)
    kit.seen["fault of the typed weight"] = (low.x, low.y, high.x, high.y)
