"""The shortest way from one recipe to another: the cells that have changed."""

from __future__ import annotations

from composer.mixing.recipe import Cell, Recipe

AT_ONCE = 16
"""More changed cells than this are another recipe, and its pose is made anew. A design choice, no source."""


def changed_cells(before: Recipe, after: Recipe) -> list[Cell] | None:
    """The cells of a recipe that differ from those before or are new; None where setting them one by one does not lead
    there, or is no shorter than beginning anew."""
    known, wanted = {cell.key: cell for cell in before.cells}, {cell.key: cell for cell in after.cells}
    if any(getattr(before, what) != getattr(after, what) for what in ("name", "rows", "strength", "contact")):
        return None
    if list(wanted)[: len(known)] != list(known):
        return None
    changed = [cell for key, cell in wanted.items() if known.get(key) != cell]
    return changed if len(changed) <= AT_ONCE else None
