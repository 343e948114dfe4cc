"""What keys do with the chosen cell of the board."""

from __future__ import annotations

from composer.edits.cells import remove_cell
from composer.mixing.recipe import WEIGHT_RANGE, Cell
from composer.viewer.panels.board.state import Board
from composer.viewer.session.cell_edits import cells_edit
from composer.viewer.session.percent import weight_words
from composer.viewer.session.stage import Stage


def nudge(board: Board, stage: Stage, by: float) -> None:
    """Change the chosen cell's weight by an amount, as one step."""
    session = stage.session
    if session is None or not session.shape or not session.project.recipes:
        return
    key = board.key_at(stage, session.region, session.shape)
    if session.held.locked(key):
        stage.say("That cell is locked.")
        return
    weight = min(max((session.weight(key) or 0.0) + by, WEIGHT_RANGE[0]), WEIGHT_RANGE[1])
    stage.do(cells_edit(stage, Cell(key[0], key[1], round(weight, 3), key[2])))


def type_chosen(board: Board, stage: Stage) -> None:
    """Open the field over the chosen cell."""
    session = stage.session
    if session is not None and session.shape and session.project.recipes:
        key = board.key_at(stage, session.region, session.shape)
        if not session.held.locked(key):
            board.typing, board.typed = key, weight_words(session.weight(key) or 0.0)


def ask_menu(board: Board, stage: Stage) -> None:
    """Open the menu of the chosen cell, or of the chosen row where no shape is chosen."""
    session = stage.session
    if session is not None and session.project.recipes:
        key = board.key_at(stage, session.region, session.shape)
        board.menu = f"{key[0]}\n{key[1]}\n{key[2]:d}" if session.shape else session.region
        board.asking = True


def remove_chosen(board: Board, stage: Stage) -> None:
    """Remove the chosen cell from the recipe."""
    session = stage.session
    if session is None:
        return
    key = board.key_at(stage, session.region, session.shape)
    if session.weight(key) is not None and not session.held.locked(key):
        name = session.recipe_name
        stage.do(lambda project: remove_cell(project, name, key))


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
