"""A project as the text of a document: what did not change keeps its lines, comments included."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit

from composer.document.project import VERSION, Project, Region
from composer.document.read import recipe_of, region_of
from composer.document.values import Values
from composer.errors import MoueError
from composer.mixing.recipe import Recipe
from masks.partition import FACE


def document_text(project: Project, folder: Path) -> str:
    """The TOML text of a project, its head named from `folder`; `project.text` is edited, not written anew."""
    document: Any = tomlkit.parse(project.text) if project.text else tomlkit.document()
    document["moue"] = VERSION
    named = {"unit": project.unit, "head": _relative(project.head_path, folder), "neutral": project.neutral,
             "topology": project.topology or None}  # fmt: skip
    for key, value in named.items():
        if value is None:
            document.pop(key, None)
        elif document.get(key) != value:
            document[key] = value
    finer = {str(level): _relative(place, folder) for level, place in project.levels.items()}
    if finer != dict(document.get("levels", {})):
        document["levels"] = finer
    regions = {region.name: region for region in project.regions}
    recipes = {recipe.name: recipe for recipe in project.recipes}
    _update(document, "parts", project.parts, lambda name, table: dict(table), dict)
    _update(document, "shapes", project.shapes, lambda name, table: dict(table), dict)
    _update(document, "regions", regions, lambda name, t: region_of(name, Values(t, project.path, name)), _region_table)
    _update(document, "recipes", recipes, lambda name, t: recipe_of(name, Values(t, project.path, name)), _recipe_table)
    text = tomlkit.dumps(document)
    if project.text.count("\r\n") * 2 > project.text.count("\n"):
        text = text.replace("\r\n", "\n").replace("\n", "\r\n")
    return text


def _relative(head: Path, folder: Path) -> str:
    """The head's place from the document's folder, climbing up where it must; absolute on another drive."""
    import os

    try:
        return Path(os.path.relpath(head.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return head.resolve().as_posix()


def _update(document: Any, key: str, wanted: Mapping[str, Any], read: Any, write: Any) -> None:
    """Make the tables under `key` those of `wanted`, touching only what differs."""
    if key not in document:
        if not wanted:
            return
        document[key] = tomlkit.table(is_super_table=True)
    tables = document[key]
    for name in [name for name in tables if name not in wanted]:
        del tables[name]
    for name, thing in wanted.items():
        if name in tables and _same(read, name, tables[name], thing):
            continue
        made = _table(write(thing))
        if name not in tables:
            tables[name] = made
            continue
        held = tables[name]
        for gone in [k for k in held if k not in made]:
            del held[gone]
        for k, value in made.items():
            if k not in held or held[k].unwrap() != made[k].unwrap():
                held[k] = value


def _same(read: Any, name: str, table: Any, thing: Any) -> bool:
    try:
        return bool(read(name, table.unwrap()) == thing)
    except MoueError:
        return False


def _table(values: Mapping[str, Any]) -> Any:
    table = tomlkit.table()
    for key, value in values.items():
        table[key] = _cells(value) if key == "cells" else _inline(value) if isinstance(value, dict) else value
    return table


def _cells(cells: list[dict[str, Any]]) -> Any:
    rows = tomlkit.array()
    for cell in cells:
        row = tomlkit.inline_table()
        row.update(cell)
        rows.append(row)
    return rows.multiline(True)


def _inline(values: Mapping[str, Any]) -> Any:
    row = tomlkit.inline_table()
    for key, value in values.items():
        row[key] = _inline(value) if isinstance(value, dict) else value
    return row


def _region_table(region: Region) -> dict[str, Any]:
    table = dict(region.source)
    if region.locked:
        table["locked"] = True
    if region.set != FACE:
        table["set"] = region.set
    return table


def _recipe_table(recipe: Recipe) -> dict[str, Any]:
    table: dict[str, Any] = {}
    if recipe.note:
        table["note"] = recipe.note
    if recipe.join != "linear":
        table["join"] = recipe.join
    if recipe.strength != 1.0:
        table["strength"] = recipe.strength
    if recipe.rows:
        table["rows"] = {region: {"kind": row.kind, "amount": row.amount} for region, row in recipe.rows.items()}
    table["cells"] = [
        {"region": c.region, "shape": c.shape, "weight": c.weight} | ({"mirrored": True} if c.mirrored else {})
        for c in recipe.cells
    ]
    return table
