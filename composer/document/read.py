"""The text of a document becomes a project. The layout is described in the README, section "A document"."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from composer.document.project import RESERVED, VERSION, Project, Region
from composer.errors import MoueError, nearest
from composer.mixing.recipe import Cell, Recipe, Row

TOP = ("moue", "unit", "head", "neutral", "topology", "parts", "shapes", "levels", "regions", "recipes")
RECIPE_KEYS = ("cells", "rows", "strength", "join", "note")
CELL_KEYS = ("region", "shape", "weight", "mirrored")
HINGE_KEYS = ("axis", "origin", "angle_deg", "explained", "rigidity")
ROW_KEYS = ("kind", "amount")
MOST_BYTES = 64 << 20


def read_document(path: Path | str) -> Project:
    """The project in a bare `document.toml`, checked in itself; its head is not opened.

    Raises MoueError as `parse_document`, and where the file cannot be read.
    """
    path = Path(path)
    try:
        if path.stat().st_size > MOST_BYTES:
            raise MoueError("is far too large for a document", path)
        return parse_document(path.read_bytes(), path)
    except OSError as error:
        raise MoueError(f"cannot be read: {error.strerror}", path) from None


def parse_document(data: bytes, path: Path) -> Project:
    """The project in the bytes of a document that lies at `path`.

    Raises MoueError with the file, and where the text itself is wrong the line: unreadable text, a newer version,
    unknown keys, names that are reserved or missing, cells that are not region, shape and weight.
    """
    try:
        text = data.decode("utf-8")
        table = tomllib.loads(text)
    except UnicodeDecodeError:
        raise MoueError("is not a text in UTF-8", path) from None
    except tomllib.TOMLDecodeError as error:
        raise _syntax(path, error) from None
    version = table.get("moue")
    if not isinstance(version, int) or isinstance(version, bool):
        raise MoueError("does not say `moue = 1`, so it is no document", path)
    if version > VERSION:
        raise MoueError(f"is of version {version}, this Moue reads up to {VERSION}", path, mend="get a newer Moue")
    _only(table, TOP, path, "the document")
    head = _text(table, "head", path, "the document")
    if head is None:
        raise MoueError("names no head", path, mend='add head = "FOLDER"')
    regions = tuple(region_of(name, t, path) for name, t in _tables(table, "regions", path).items())
    recipes = tuple(recipe_of(name, t, path) for name, t in _tables(table, "recipes", path).items())
    return Project(
        path,
        (path.parent / head),
        _text(table, "unit", path, "the document"),
        _text(table, "neutral", path, "the document"),
        _text(table, "topology", path, "the document") or "",
        regions,
        recipes,
        _tables(table, "parts", path),
        _shapes(table, path),
        _levels(table, path),
        text=text,
    )


def _syntax(path: Path, error: tomllib.TOMLDecodeError) -> MoueError:
    words = str(error)
    line = None
    if "(at line " in words:
        words, _, place = words.partition(" (at line ")
        digits = place.split(",")[0]
        line = int(digits) if digits.isdigit() else None
    return MoueError(words[:1].lower() + words[1:], path, line)


def _only(table: Mapping[str, Any], known: tuple[str, ...], path: Path, where: str) -> None:
    for key in table:
        if key not in known:
            raise MoueError(f"{where} has an unknown key {key!r}", path, mend=nearest(key, known) or None)


def _text(table: Mapping[str, Any], key: str, path: Path, where: str) -> str | None:
    value = table.get(key)
    if value is not None and not isinstance(value, str):
        raise MoueError(f"{key} of {where} must be a text", path)
    return value


def _number(table: Mapping[str, Any], key: str, otherwise: float, path: Path, where: str) -> float:
    value = table.get(key, otherwise)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise MoueError(f"{key} of {where} must be a number", path)
    return float(value)


def _tables(table: Mapping[str, Any], key: str, path: Path) -> dict[str, dict[str, Any]]:
    value = table.get(key, {})
    if not isinstance(value, dict) or not all(isinstance(each, dict) for each in value.values()):
        raise MoueError(f"{key} must be tables, as [{key}.NAME]", path)
    return value


def _shapes(table: dict[str, Any], path: Path) -> dict[str, dict[str, Any]]:
    shapes = _tables(table, "shapes", path)
    for name, said in shapes.items():
        _only(said, ("inbetweens", "hinge"), path, f"shape {name!r}")
        _hinge(said.get("hinge", "off"), path, name)
        if said.get("hinge", "off") != "off" and said.get("inbetweens"):
            raise MoueError(f"shape {name!r} has in-betweens and a hinge", path, mend="it can have one of the two")
        for entry in said.get("inbetweens", []):
            if not isinstance(entry, dict) or not isinstance(entry.get("target"), str) or "at" not in entry:
                raise MoueError(f"an in-between of {name!r} needs `at` and `target`", path)
            _number(entry, "at", 0.0, path, f"an in-between of {name!r}")
    return shapes


def _levels(table: dict[str, Any], path: Path) -> dict[int, Path]:
    held = table.get("levels", {})
    if not isinstance(held, dict):
        raise MoueError("levels must be a table", path, mend='as [levels] with 1 = "FOLDER"')
    for key, folder in held.items():
        if not key.isdecimal() or not 1 <= int(key) <= 8 or not isinstance(folder, str):
            raise MoueError(f"level {key!r} must be a number from 1 to 8 and name a folder", path)
    return {int(key): path.parent / folder for key, folder in held.items()}


def _hinge(said: Any, path: Path, name: str) -> None:
    """What a shape says of its hinge: "off", "auto", or a table with axis, origin, angle_deg, rigidity."""
    if said in ("off", "auto"):
        return
    where = f"the hinge of {name!r}"
    if not isinstance(said, dict):
        raise MoueError(f'{where} is "off", "auto" or a table', path)
    _only(said, HINGE_KEYS, path, where)
    for key in ("axis", "origin"):
        value = said.get(key)
        if not isinstance(value, list) or len(value) != 3 or not all(isinstance(v, int | float) for v in value):
            raise MoueError(f"{where} needs {key}, three numbers", path)
    _number(said, "angle_deg", float("nan"), path, where)
    if "angle_deg" not in said or _text(said, "rigidity", path, where) is None:
        raise MoueError(f"{where} needs angle_deg and rigidity, a file", path)


def region_of(name: str, table: dict[str, Any], path: Path) -> Region:
    """The region in the table [regions.NAME]. Raises MoueError where it is reserved or has no source."""
    if name in RESERVED:
        raise MoueError(f"a region may not be named {name!r}", path, mend="it always exists")
    source = {key: value for key, value in table.items() if key not in ("set", "locked")}
    if not isinstance(source.get("from"), str):
        raise MoueError(f"region {name!r} does not say where it is `from`", path)
    return Region(name, source, _text(table, "set", path, name) or "face", bool(table.get("locked", False)))


def recipe_of(name: str, table: dict[str, Any], path: Path) -> Recipe:
    """The recipe in the table [recipes.NAME]. Raises MoueError where it is none."""
    where = f"recipe {name!r}"
    if name == "neutral" or "/" in name or "\\" in name or name.startswith("."):
        raise MoueError(f"a recipe may not be named {name!r}", path, mend="choose a plain name")
    _only(table, RECIPE_KEYS, path, where)
    cells = table.get("cells", [])
    if not isinstance(cells, list) or not all(isinstance(cell, dict) for cell in cells):
        raise MoueError(f"cells of {where} must be a list of tables", path)
    try:
        return Recipe(
            name,
            tuple(_cell(cell, path, where) for cell in cells),
            {region: _row(row, path, where) for region, row in _tables(table, "rows", path).items()},
            _number(table, "strength", 1.0, path, where),
            table.get("join", "linear"),
            _text(table, "note", path, where) or "",
        )
    except MoueError as error:
        raise error if error.where else MoueError(error.what, path, mend=error.mend) from None


def _cell(table: dict[str, Any], path: Path, where: str) -> Cell:
    _only(table, CELL_KEYS, path, f"a cell of {where}")
    region, shape = (_text(table, key, path, f"a cell of {where}") for key in ("region", "shape"))
    if region is None or shape is None or "weight" not in table:
        raise MoueError(f"a cell of {where} needs a region, a shape and a weight", path)
    return Cell(region, shape, _number(table, "weight", 0.0, path, where), bool(table.get("mirrored", False)))


def _row(table: dict[str, Any], path: Path, where: str) -> Row:
    _only(table, ROW_KEYS, path, f"a row of {where}")
    return Row(table.get("kind", "add"), _number(table, "amount", 1.0, path, where))
