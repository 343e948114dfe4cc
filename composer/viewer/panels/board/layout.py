"""Where the rows, columns and cells of the board lie in one frame, and which of them is under the pointer."""

from __future__ import annotations

from dataclasses import dataclass

from imgui_bundle import ImVec2, imgui

from composer.picture.two_lines import Lines
from composer.viewer.panels.board.state import Board
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit

NAME_WIDE, COLUMN_WIDE, WIDEST_COLUMN, ROW_HIGH = 206.0, 78.0, 124.0, 25.0
"""Sizes of the names of rows, of columns, of columns where there is room for all of them, and of rows, in pixels at
scale 1."""
HEAD_HIGH, LOW_HEAD = 62.0, 22.0
"""Heights of the heads of columns with and without pictures, in pixels at scale 1; a second line of names is added."""
LOW_BOARD = 190.0
"""Below this height the heads of columns have no pictures, so that rows have room."""


@dataclass(frozen=True)
class Layout:
    """All in window points: the board from (`x`, `y`) to (`right`, `bottom`); cells begin at (`left`, `top`), scrolled
    to (`cells_x`, `cells_y`). `words` are the names of the columns in lines, as they are drawn. `row` and `column` are
    those under the pointer, -1 for none; `over` whether it is over the board."""

    rows: list[str]
    columns: list[str]
    words: dict[str, Lines]
    x: float
    y: float
    right: float
    bottom: float
    left: float
    top: float
    cells_x: float
    cells_y: float
    wide: float
    high: float
    row: int
    column: int
    over: bool

    @property
    def on_cell(self) -> bool:
        """Whether the pointer is over a cell."""
        return self.row >= 0 and self.column >= 0

    @property
    def on_name(self) -> bool:
        """Whether the pointer is over the name of a row."""
        return self.row >= 0 and self.column < 0 and imgui.get_mouse_pos().x < self.left

    @property
    def on_head(self) -> bool:
        """Whether the pointer is over the head of a column."""
        return self.column >= 0 and self.row < 0 and imgui.get_mouse_pos().y < self.top


def layout_of(board: Board, stage: Stage, kit: Kit) -> Layout:
    """Lay the board out in the current window, scrolled to the chosen cell where another one was chosen."""
    rows, columns = board.rows(stage), board.columns(stage)
    at, view = imgui.get_window_pos(), imgui.get_window_size()
    names, head = _name_wide(kit), kit.px(HEAD_HIGH if view.y >= kit.px(LOW_BOARD) else LOW_HEAD)
    room = (view.x - names - kit.px(16)) / max(len(columns), 1)
    wide, high = min(max(room, kit.px(COLUMN_WIDE)), kit.px(WIDEST_COLUMN)), kit.px(ROW_HIGH)
    words = _words(stage, kit, columns, wide)
    head += imgui.get_text_line_height() * any(second for _, second in words.values())
    scroll_x, scroll_y = imgui.get_scroll_x(), imgui.get_scroll_y()
    imgui.dummy(ImVec2(names + wide * max(len(columns), 1) + kit.px(16), head + high * len(rows) + kit.px(8)))
    _scroll_to_chosen(board, stage, rows, columns, (wide, high), (view.x - names - wide, view.y - head - high))
    left, top = at.x + names, at.y + head
    mouse, over = imgui.get_mouse_pos(), imgui.is_window_hovered()
    column = int((mouse.x - left + scroll_x) // wide) if over and mouse.x >= left else -1
    row = int((mouse.y - top + scroll_y) // high) if over and mouse.y >= top else -1
    return Layout(
        rows, columns, words, at.x, at.y, at.x + view.x, at.y + view.y, left, top, left - scroll_x, top - scroll_y,
        wide, high,
        row if row < len(rows) else -1, column if column < len(columns) else -1, over,
    )  # fmt: skip


def _words(stage: Stage, kit: Kit, columns: list[str], wide: float) -> dict[str, Lines]:
    """The name of each column, or the label that its shape has."""
    entries = stage.opened.project.shapes
    labels = {name: str(entries.get(name, {}).get("label") or name) for name in columns}
    lines = kit.in_two_lines(list(labels.values()), wide - kit.px(6))
    return {name: lines[label] for name, label in labels.items()}


def _name_wide(kit: Kit) -> float:
    """How wide the names of the rows are, in pixels: less on a narrow board, so that columns have room, too."""
    wide = imgui.get_window_width()
    return max(min(kit.px(NAME_WIDE) + 0.06 * max(wide - kit.px(800), 0.0), 0.42 * wide), kit.px(110))


def _scroll_to_chosen(
    board: Board, stage: Stage, rows: list[str], columns: list[str], cell: tuple[float, float],
    room: tuple[float, float],
) -> None:  # fmt: skip
    session = stage.opened
    chosen = (session.region, session.shape)
    if chosen == board.followed or board.drag is not None:
        return
    board.followed = chosen
    if session.region in rows:
        y = rows.index(session.region) * cell[1]
        if not imgui.get_scroll_y() <= y <= imgui.get_scroll_y() + room[1]:
            imgui.set_scroll_y(max(y - room[1] / 2, 0.0))
    if session.shape in columns:
        x = columns.index(session.shape) * cell[0]
        if not imgui.get_scroll_x() <= x <= imgui.get_scroll_x() + room[0]:
            imgui.set_scroll_x(max(x - room[0] / 2, 0.0))
