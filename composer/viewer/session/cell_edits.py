"""Edits of cells as the window makes them: on both sides where sides are linked, never on what is locked."""

from __future__ import annotations

from composer.document.history import Edit
from composer.document.project import Project
from composer.edits.cells import remove_cell
from composer.edits.recipes import add_recipe
from composer.edits.several_cells import set_cells
from composer.edits.sides import linked
from composer.mixing.recipe import Cell, Recipe
from composer.viewer.session.joining import new_join
from composer.viewer.session.stage import Stage


def cells_edit(stage: Stage, *cells: Cell) -> Edit:
    """Set cells of the chosen recipe, and their partners on the other side where sides are linked."""
    session = stage.opened
    name, asked, wanted = session.recipe_name, {cell.key for cell in cells}, list(cells)
    if session.linked:
        others = (linked(cell, session.region_names, session.head.shape_names) for cell in cells)
        wanted += [c for c in others if c is not None and c.key not in asked and not session.held.locked(c.key)]
    return lambda project: set_cells(project, name, wanted)


def carried_edit(stage: Stage, region: str, shape: str, mirrored: bool = False, weight: float = 1.0) -> Edit:
    """A shape dropped into a region: its cell at a weight; a document without recipes gets its first one."""
    session = stage.opened
    cell = Cell(region, shape, weight, mirrored)
    if any(recipe.name == session.recipe_name for recipe in session.history.committed.recipes):
        return cells_edit(stage, cell)
    return lambda project: add_recipe(project, Recipe("first", (cell,), join=new_join(session), contact=True))


def clear_row(stage: Stage, region: str) -> Edit:
    """The chosen recipe without the cells of a region that are not locked."""
    session = stage.opened
    name, held = session.recipe_name, session.held
    keys = [c.key for c in session.recipe.cells if c.region == region and not held.locked(c.key)]

    def edit(project: Project) -> Project:
        for key in keys:
            project = remove_cell(project, name, key)
        return project

    return edit
