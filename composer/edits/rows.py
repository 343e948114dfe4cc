"""Rows of a recipe: setting how one joins, copying and pasting it, and turning a whole recipe left to right."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from composer.document.project import Project
from composer.edits.recipes import check_region, replace_recipe
from composer.edits.sides import mirror_cell, partner
from composer.mixing.recipe import Cell, Recipe, Row


def set_row(project: Project, recipe: str, region: str, row: Row) -> Project:
    """The recipe with a region's row joining so; a row that adds by 1, as any does unless said, is not written.

    Raises MoueError for an unknown recipe or region, an amount outside [0, 1], or a base row that would replace.
    """
    held = project.recipe(recipe)
    check_region(project, region)
    return replace_recipe(project, recipe, held.with_(rows=_with_row(held, region, row)))


def row_cells(recipe: Recipe, region: str) -> tuple[Cell, ...]:
    """The cells of a region in a recipe, in order: what a copy of its row takes along with `recipe.row(region)`."""
    return tuple(cell for cell in recipe.cells if cell.region == region)


def paste_row(project: Project, recipe: str, region: str, cells: Sequence[Cell], row: Row) -> Project:
    """The recipe with a copied row in the place of a region's own: `cells`, of whatever region, and how it joins.

    Raises MoueError for an unknown recipe or region, or a replacing row pasted onto the base row.
    """
    held = project.recipe(recipe)
    check_region(project, region)
    pasted = [replace(cell, region=region) for cell in cells]
    at = next((i for i, cell in enumerate(held.cells) if cell.region == region), len(held.cells))
    before = [cell for cell in held.cells[:at] if cell.region != region]
    after = [cell for cell in held.cells[at:] if cell.region != region]
    rows = _with_row(held, region, row)
    return replace_recipe(project, recipe, held.with_(cells=(*before, *pasted, *after), rows=rows))


def flipped_recipe(recipe: Recipe, region_names: Collection[str], shape_names: Collection[str]) -> Recipe:
    """The recipe turned left to right, as `composer.edits.sides.mirror_cell` turns each cell; rows go along.

    Twice gives the recipe back. Its pose is the mirror image where masks and locks are mirror images of each other,
    and so are the shapes that go over to a partner.
    """
    cells = tuple(mirror_cell(cell, region_names, shape_names) for cell in recipe.cells)
    rows = {partner(region, region_names) or region: row for region, row in recipe.rows.items()}
    return recipe.with_(cells=cells, rows=rows)


def _with_row(recipe: Recipe, region: str, row: Row) -> dict[str, Row]:
    rows = {**recipe.rows, region: replace(row, amount=float(row.amount))}
    if row == Row():
        del rows[region]
    return rows
