"""Recipes as a table: a recipe a row, a cell a column, so that a spreadsheet makes many.

Columns: `recipe` (its name), and where they are said `strength`, `join`, `halo`, `contact`, `note`; `REGION/` how a
region's row joins, as `replace 0.7` or `add 0.5`; every other column is a cell as in a clip's table: a shape (region
`all`), `REGION/SHAPE`, with ` mirrored` behind it for the mirror image. An empty field is a cell that the recipe does
not have.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from composer.document.clip_file import cell_named, name_of_cell
from composer.document.join_keys import JOINS
from composer.document.read import STRENGTH_RANGE
from composer.errors import MoueError, nearest
from composer.formats.table_csv import PERCENT, Table, read_table, table_text
from composer.head.file_names import check_name
from composer.mixing.recipe import ALL, HALO, WEIGHT_RANGE, Cell, Recipe, Row

NAME = "recipe"
SAID = (NAME, "strength", "join", "halo", "contact", "note")
"""Columns that are no cells."""


def recipes_text(recipes: Sequence[Recipe]) -> str:
    """Recipes as CSV, which `recipes_in` reads back to the same recipes."""
    cells = dict.fromkeys(cell.key for recipe in recipes for cell in recipe.cells)
    regions = dict.fromkeys(region for recipe in recipes for region in recipe.rows)
    names = [*SAID, *(f"{region}/" for region in regions), *(_column(key) for key in cells)]
    rows = []
    for recipe in recipes:
        held = {cell.key: cell.weight for cell in recipe.cells}
        contact = "true" if recipe.contact else None
        row: list[object] = [recipe.name, recipe.strength, recipe.join, recipe.halo, contact, recipe.note]
        for region in regions:
            said = recipe.rows.get(region)
            row.append(None if said is None else f"{said.kind} {said.amount!r}")
        rows.append([*row, *(held.get(key) for key in cells)])
    return table_text(names, rows)


def recipes_in(path: Path | str) -> list[Recipe]:
    """The recipes in a table. Raises MoueError with row and column for what no recipe can be, and as `read_table`."""
    return recipes_of_table(read_table(Path(path)))


def recipes_of_table(table: Table) -> list[Recipe]:
    """The recipes in a table that is read."""
    if NAME not in table.names:
        hint = nearest(NAME, table.names) or None
        raise MoueError("has no column 'recipe', the name of each", table.path, 1, hint=hint)
    recipes: list[Recipe] = []
    known: dict[str, int] = {}
    for line, fields in table.rows:
        recipe = _recipe(table, line, fields)
        if recipe.name in known:
            what = f"row {line} is recipe {recipe.name!r}, as row {known[recipe.name]} is"
            raise MoueError(what, table.path, line, hint="give it another name")
        check_name(recipe.name, "recipe", f"{table.path}:{line}", [*known, recipe.name, "neutral"])
        known[recipe.name] = line
        recipes.append(recipe)
    return recipes


def check_names(recipes: Sequence[Recipe], table: Path, regions: Sequence[str], shapes: Sequence[str]) -> None:
    """Raises MoueError, with the table, for a cell or row of a region or shape that is not there, with the nearest."""
    for recipe in recipes:
        pairs = [("region", region, regions) for region in recipe.regions]
        pairs += [("shape", cell.shape, shapes) for cell in recipe.cells]
        for word, name, names in pairs:
            if name not in names:
                what = f"recipe {recipe.name!r}: no {word} is named {name!r}"
                raise MoueError(what, table, hint=nearest(name, names) or None)


def _column(key: tuple[str, str, bool]) -> str:
    """The column of a cell; `all/` stands before a shape that is named as another column."""
    name = name_of_cell(key)
    return f"{ALL}/{name}" if key[0] == ALL and name in SAID else name


def _recipe(table: Table, line: int, fields: tuple[str, ...]) -> Recipe:
    said: dict[str, Any] = {}
    rows: dict[str, Row] = {}
    cells: dict[tuple[str, str, bool], Cell] = {}
    for column, (name, field) in enumerate(zip(table.names, fields, strict=True)):
        plain = name.removesuffix(PERCENT)
        if name == NAME:
            if not field:
                raise table.wrong(line, column, "names no recipe")
            if field == "neutral":
                raise table.wrong(line, column, "is 'neutral'", "that is the face at rest")
            said["name"] = field
        elif not field:
            continue
        elif plain == "strength":
            said[plain] = table.number(line, column, field, *STRENGTH_RANGE)
        elif plain == "halo":
            said[plain] = table.number(line, column, field, 0.0, 1.0)
        elif name == "join":
            if field not in JOINS:
                raise table.wrong(line, column, f"is {field!r}", nearest(field, JOINS))
            said["join"] = field
        elif name == "contact":
            if field.lower() not in ("true", "false"):
                raise table.wrong(line, column, f"is {field!r}", "write true or false")
            said["contact"] = field.lower() == "true"
        elif name == "note":
            said["note"] = field
        elif name.endswith("/"):
            rows[name[:-1]] = _row(table, line, column, field)
        else:
            key = cell_named(plain)
            if key in cells:
                raise table.wrong(line, column, f"is the cell {key[0]} x {key[1]} again", "remove one")
            cells[key] = Cell(*key[:2], table.number(line, column, field, *WEIGHT_RANGE), key[2])
    said.setdefault("halo", HALO)
    try:
        return Recipe(cells=tuple(cells.values()), rows=rows, **said)
    except MoueError as error:
        raise MoueError(str(error), table.path, line) from None


def _row(table: Table, line: int, column: int, field: str) -> Row:
    kind, _, amount = field.partition(" ")
    if kind not in ("add", "replace"):
        raise table.wrong(line, column, f"is {field!r}", "write add or replace, and an amount: replace 0.7")
    return Row(kind, table.number(line, column, amount, 0.0, 1.0) if amount else 1.0)  # type: ignore[arg-type]
