"""What the pointer does on the board: choosing, dragging, typing, menus, dropping, scrolling."""

from __future__ import annotations

from imgui_bundle import imgui

from composer.edits.several_cells import changed_by
from composer.viewer.panels.board.chosen_cell import nudge
from composer.viewer.panels.board.layout import Layout
from composer.viewer.panels.board.picked import add_to_picked, pick_block, pick_only, picked_keys, together
from composer.viewer.panels.board.state import Board
from composer.viewer.session.cell_edits import carried_edit, cells_edit
from composer.viewer.session.dropped import tell_dropped
from composer.viewer.session.percent import weight_words
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit

WHEEL_STEP, PIXELS_FOR_ONE, DRAG_FROM = 0.05, 150.0, 3.0
"""Weight for a step of the wheel; points of the window for a weight of 1; points from which a press is a drag."""
FINE = 0.2
"""Share of a drag that counts while Shift is held."""


def follow_pointer(board: Board, stage: Stage, kit: Kit, layout: Layout) -> None:
    """Do what the pointer asks for in this frame."""
    board.pointed = (layout.rows[layout.row], layout.columns[layout.column]) if layout.on_cell else None
    if layout.on_cell:
        _on_cell(board, stage, kit, layout, layout.rows[layout.row], layout.columns[layout.column])
    elif layout.on_name:
        _on_name(board, stage, layout.rows[layout.row])
    elif layout.on_head:
        _on_head(board, stage, layout.columns[layout.column])
    if stage.carried_shape and layout.row >= 0 and imgui.is_mouse_released(0):
        _drop(board, stage, layout.rows[layout.row])
    _drag(board, stage)
    _wheel(board, stage, layout)


def _on_cell(board: Board, stage: Stage, kit: Kit, layout: Layout, region: str, shape: str) -> None:
    session = stage.opened
    key = board.key_at(stage, region, shape)
    weight = session.weight(key)
    if imgui.is_mouse_double_clicked(0):
        stage.guard(session.abort)
        board.drag, board.typing, board.typed = None, key, weight_words(weight or 0.0)
        session.region, session.shape = region, shape
    elif imgui.is_mouse_clicked(0) and imgui.get_io().key_ctrl:
        if weight is not None:
            add_to_picked(board, stage, key)
    elif imgui.is_mouse_clicked(0) and imgui.get_io().key_shift and session.shape:
        pick_block(board, stage, region, shape, layout.rows, layout.columns)
    elif imgui.is_mouse_clicked(0):
        if key not in picked_keys(board, stage):
            pick_only(board)
        session.region, session.shape = region, shape
        along = together(board, stage, key)
        if along:
            board.drag = (key, imgui.get_mouse_pos().x, along)
    elif imgui.is_mouse_clicked(1):
        session.region, session.shape, board.menu = region, shape, f"{region}\n{shape}\n{key[2]:d}"
        imgui.open_popup("row menu")
    elif board.drag is None and board.typing is None and weight is not None and _resting():
        with kit.hint():
            kit.text(f"{region} × {shape}" + (" mirrored" if key[2] else ""))
            kit.quiet(f"{weight_words(weight)}; drag, use the wheel, or type a number")


def _on_name(board: Board, stage: Stage, region: str) -> None:
    if imgui.is_mouse_clicked(0):
        stage.opened.region = region
    elif imgui.is_mouse_clicked(1):
        stage.opened.region = board.menu = region
        imgui.open_popup("row menu")


def _on_head(board: Board, stage: Stage, shape: str) -> None:
    if imgui.is_mouse_clicked(0):
        stage.opened.shape = shape
    elif imgui.is_mouse_clicked(1):
        stage.opened.shape, board.menu = shape, f"\n{shape}"
        imgui.open_popup("row menu")


def _drop(board: Board, stage: Stage, region: str) -> None:
    """The carried shape is let go over a row."""
    shape, stage.carried_shape = stage.carried_shape, ""
    if stage.do(carried_edit(stage, region, shape, board.mirrored)):
        tell_dropped(stage, region, shape, board.mirrored)
    stage.opened.region, stage.opened.shape = region, shape


def _drag(board: Board, stage: Stage) -> None:
    """Drag the cell that is held, and all that are selected with it: right is more, left is less. The release makes one
    step; Escape cancels."""
    session = stage.opened
    if board.drag is None:
        return
    _, start, cells = board.drag
    if imgui.is_key_pressed(imgui.Key.escape):
        session.abort()
        board.drag = None
        return
    moved = imgui.get_mouse_pos().x - start
    if abs(moved) >= DRAG_FROM or session.previewing:
        fine = FINE if imgui.get_io().key_shift else 1.0
        wanted = changed_by(cells, fine * moved / PIXELS_FOR_ONE, 2 if fine == 1.0 else 3)
        stage.guard(lambda: session.preview(cells_edit(stage, *wanted)))
    if not imgui.is_mouse_down(0):
        session.commit()
        board.drag = None


def _wheel(board: Board, stage: Stage, layout: Layout) -> None:
    """The wheel turns the chosen cell when it is under the pointer, and scrolls everywhere else."""
    session, io = stage.opened, imgui.get_io()
    if not layout.over or (io.mouse_wheel == 0 and io.mouse_wheel_h == 0):
        return
    chosen = (session.region, session.shape)
    if layout.on_cell and not io.key_shift and (layout.rows[layout.row], layout.columns[layout.column]) == chosen:
        nudge(board, stage, WHEEL_STEP * io.mouse_wheel)
    elif io.key_shift:
        imgui.set_scroll_x(imgui.get_scroll_x() - io.mouse_wheel * 60)
    else:
        imgui.set_scroll_y(imgui.get_scroll_y() - io.mouse_wheel * 50)
        imgui.set_scroll_x(imgui.get_scroll_x() - io.mouse_wheel_h * 60)


def _resting() -> bool:
    """Whether the pointer rests over the board long enough for a hint."""
    still = imgui.get_io().mouse_delta.x == 0 and not imgui.is_mouse_down(0)
    return still and imgui.is_window_hovered(imgui.HoveredFlags_.for_tooltip)
