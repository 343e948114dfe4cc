"""What keys do with the chosen cell of the board."""

from __future__ import annotations

from composer.edits.several_cells import changed_by, remove_cells
from composer.viewer.panels.board.picked import together
from composer.viewer.panels.board.state import Board
from composer.viewer.session.cell_edits import cells_edit
from composer.viewer.session.percent import weight_words
from composer.viewer.session.stage import Stage


def nudge(board: Board, stage: Stage, by: float) -> None:
    """Change the weight of the chosen cell, and of those selected with it, by an amount, as one step."""
    session = stage.session
    if session is None or not session.shape or not session.project.recipes:
        return
    key = board.key_at(stage, session.region, session.shape)
    cells = together(board, stage, key)
    if not cells:
        stage.say("That cell is locked.")
        return
    stage.do(cells_edit(stage, *changed_by(cells, by)))


def type_chosen(board: Board, stage: Stage) -> None:
    """Open the field over the chosen cell."""
    session = stage.session
    if session is not None and session.shape and session.project.recipes:
        key = board.key_at(stage, session.region, session.shape)
        if not session.held.locked(key):
            board.typing, board.typed = key, weight_words(session.weight(key) or 0.0)


def type_pointed(board: Board, stage: Stage) -> bool:
    """Choose the cell under the pointer and open the field over it; whether there is one that may be typed into."""
    session = stage.session
    if session is None or board.pointed is None or board.drag is not None or board.typing is not None:
        return False
    if session.held.locked(board.key_at(stage, *board.pointed)):
        return False
    session.region, session.shape = board.pointed
    type_chosen(board, stage)
    return board.typing is not None


def ask_menu(board: Board, stage: Stage) -> None:
    """Open the menu of the chosen cell, or of the chosen row where no shape is chosen."""
    session = stage.session
    if session is not None and session.project.recipes:
        key = board.key_at(stage, session.region, session.shape)
        board.menu = f"{key[0]}\n{key[1]}\n{key[2]:d}" if session.shape else session.region
        board.asking = True


def remove_chosen(board: Board, stage: Stage) -> None:
    """Remove the chosen cell from the recipe, and those selected with it."""
    session = stage.session
    if session is None:
        return
    key = board.key_at(stage, session.region, session.shape)
    keys = {cell.key for cell in together(board, stage, key)}
    if keys and any(session.weight(each) is not None for each in keys):
        name = session.recipe_name
        stage.do(lambda project: remove_cells(project, name, keys))


def choose_by_steps(board: Board, stage: Stage, rows: int, columns: int) -> None:
    """Choose the cell so many rows and columns further on."""
    session = stage.session
    if session is None:
        return
    regions, shapes = board.rows(stage), board.columns(stage)
    if regions:
        at = regions.index(session.region) if session.region in regions else 0
        session.region = regions[min(max(at + rows, 0), len(regions) - 1)]
    if shapes:
        at = shapes.index(session.shape) if session.shape in shapes else 0
        session.shape = shapes[min(max(at + columns, 0), len(shapes) - 1)]
