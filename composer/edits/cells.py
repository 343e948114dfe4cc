"""Setting and removing the cells of a recipe."""

from __future__ import annotations

from composer.document.project import Project
from composer.edits.recipes import replace_recipe
from composer.mixing.recipe import Cell, CellKey


def set_cell(project: Project, recipe: str, cell: Cell) -> Project:
    """The project with a cell of this weight in the recipe, in the place of the old one, or last.

    Raises MoueError for an unknown recipe or a weight outside [-1, 2].
    """
    held = project.recipe(recipe)
    if cell in held.cells:
        return project
    if any(old.key == cell.key for old in held.cells):
        cells = tuple(cell if old.key == cell.key else old for old in held.cells)
    else:
        cells = (*held.cells, cell)
    return replace_recipe(project, recipe, held.with_(cells=cells))


def remove_cell(project: Project, recipe: str, key: CellKey) -> Project:
    """The recipe without the cell of this key; the same project where it has none."""
    held = project.recipe(recipe)
    cells = tuple(cell for cell in held.cells if cell.key != key)
    return project if len(cells) == len(held.cells) else replace_recipe(project, recipe, held.with_(cells=cells))
