"""Several cells of the board selected at once: with Shift a block, with Ctrl one by one."""

from __future__ import annotations

from composer.edits.several_cells import moved_to
from composer.mixing.recipe import Cell, CellKey
from composer.viewer.panels.board.state import Board
from composer.viewer.session.cell_edits import cells_edit
from composer.viewer.session.stage import Stage


def add_to_picked(board: Board, stage: Stage, key: CellKey) -> None:
    """Select a cell besides the others, or no longer; the cell chosen before stays selected."""
    session = stage.opened
    before = board.key_at(stage, session.region, session.shape) if session.shape else None
    picked = picked_keys(board, stage)
    if before is not None and session.weight(before) is not None:
        picked.add(before)
    board.picked, board.of = frozenset(picked ^ {key}), session.recipe_name
    session.region, session.shape = key[0], key[1]


def pick_block(board: Board, stage: Stage, region: str, shape: str, rows: list[str], columns: list[str]) -> None:
    """Select every cell of the recipe in the block between the chosen one and this place."""
    session = stage.opened
    rows_at = [rows.index(name) for name in (session.region, region) if name in rows]
    columns_at = [columns.index(name) for name in (session.shape, shape) if name in columns]
    block_rows = set(rows[min(rows_at) : max(rows_at) + 1])
    block_columns = set(columns[min(columns_at) : max(columns_at) + 1])
    keys = {c.key for c in session.recipe.cells if c.region in block_rows and c.shape in block_columns}
    board.picked, board.of = frozenset(keys), session.recipe_name


def pick_only(board: Board) -> None:
    """Select nothing besides the chosen cell."""
    board.picked = frozenset()


def picked_keys(board: Board, stage: Stage) -> set[CellKey]:
    """The selected cells that the open recipe still has."""
    session = stage.opened
    if board.of != session.recipe_name:
        return set()
    return {c.key for c in session.recipe.cells if c.key in board.picked}


def together(board: Board, stage: Stage, key: CellKey) -> tuple[Cell, ...]:
    """The cells that change with one of them: all that are selected where it is, else it alone, with weight 0 where the
    recipe has it not yet. Locked ones stay out."""
    session = stage.opened
    picked = picked_keys(board, stage)
    if key not in picked:
        picked = {key}
    cells = {c.key: c for c in session.recipe.cells}
    kept = [cells.get(each, Cell(each[0], each[1], 0.0, each[2])) for each in sorted(picked)]
    return tuple(cell for cell in kept if not session.held.locked(cell.key))


def copy_cells(board: Board, stage: Stage) -> bool:
    """Keep the selected cells for pasting; whether several are selected."""
    session, picked = stage.opened, picked_keys(board, stage)
    if len(picked) < 2:
        return False
    stage.copied_cells = tuple(c for c in session.recipe.cells if c.key in picked)
    stage.copied_row = None
    stage.say(f"Copied {len(picked)} cells.")
    return True


def paste_cells(board: Board, stage: Stage) -> bool:
    """Put the copied cells into the open recipe as one step: those of one row into the chosen row. Whether cells were
    copied last."""
    session, copied = stage.opened, stage.copied_cells
    if not copied or stage.copied_row is not None or not session.recipe_name:
        return False
    cells = [c for c in moved_to(copied, session.region) if not session.held.locked(c.key)]
    if stage.do(cells_edit(stage, *cells), f"Pasted {len(cells)} cells."):
        board.picked, board.of = frozenset(c.key for c in cells), session.recipe_name
    return True
