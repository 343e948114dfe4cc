"""Rows of a recipe: setting how one joins, copying and pasting it, and mirroring a whole recipe."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from composer.document.project import Project
from composer.edits.recipes import check_region, replace_recipe
from composer.edits.sides import mirror_cell, partner
from composer.mixing.recipe import Cell, Recipe, Row


def set_row(project: Project, recipe: str, region: str, row: Row) -> Project:
    """The recipe with this row for a region; the default, a row that adds by 1, is not stored.

    Raises MoueError for an unknown recipe or region, an amount outside [0, 1], or a base row that would replace.
    """
    held = project.recipe(recipe)
    check_region(project, region)
    return replace_recipe(project, recipe, held.with_(rows=_with_row(held, region, row)))


def row_cells(recipe: Recipe, region: str) -> tuple[Cell, ...]:
    """The cells of a region in a recipe, in order; a copy of the row is these and `recipe.row(region)`."""
    return tuple(cell for cell in recipe.cells if cell.region == region)


def paste_row(project: Project, recipe: str, region: str, cells: Sequence[Cell], row: Row) -> Project:
    """The recipe with a copied row in the place of a region's own: `cells`, of any region, and `row`.

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
    """The recipe with every cell mirrored by `composer.edits.sides.mirror_cell`, and its rows swapped alike.

    Applied twice it gives the recipe back. The pose is the mirror image if the masks and locks of partners are mirror
    images of each other, and the shapes of partners, too.
    """
    cells = tuple(mirror_cell(cell, region_names, shape_names) for cell in recipe.cells)
    rows = {partner(region, region_names) or region: row for region, row in recipe.rows.items()}
    return recipe.with_(cells=cells, rows=rows)


def _with_row(recipe: Recipe, region: str, row: Row) -> dict[str, Row]:
    rows = {**recipe.rows, region: replace(row, amount=float(row.amount))}
    if row == Row():
        del rows[region]
    return rows
