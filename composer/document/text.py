"""A project as the text of a document: what did not change keeps its lines, comments included."""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from composer.document.project import VERSION, Project, Region
from composer.document.read import curve_of, landmark_of, parse_document, recipe_of, region_of
from composer.document.tables import cut
from composer.document.values import Values
from composer.errors import MoueError
from composer.head.places import Place, SurfacePoint
from composer.mixing.recipe import HALO, Recipe
from masks.partition import FACE

SAID = ("unit", "neutral", "topology", "regions", "recipes", "parts", "shapes", "landmarks", "curves",
        "correctives")
"""What a project says that does not depend on where it lies."""


def document_text(project: Project, folder: Path) -> str:
    """The TOML text of a project, its head named from `folder`; `project.text` is edited, not written anew.

    It is read again before it is given: where the edited text would not say what the project is (tables that stand
    apart cannot always be put in another order), it is written anew, without its comments. Raises MoueError where
    no text says it, which is a project that could not be opened again.
    """
    if project.text:
        with suppress(TOMLKitError, MoueError, LookupError, TypeError, ValueError):
            base = parse_document(project.text.encode(), folder / "document.toml")
            if _says_the_same(base, project):
                return project.text
            text = _edited_tables(project, base)
            if text is not None and _reads_as(text, project, folder):
                return text
        with suppress(TOMLKitError, MoueError, LookupError, TypeError, ValueError):
            text = _edited(tomlkit.parse(project.text), project, folder)
            if _reads_as(text, project, folder):
                return text
    text = _edited(tomlkit.document(), project, folder)
    if not _reads_as(text, project, folder):
        raise MoueError("cannot be written so that it reads the same again", project.path)
    return text


def _edited_tables(project: Project, base: Project) -> str | None:
    """The project's text with the tables changed that say something else than `base`, which it says now.

    None where more than tables changed, or their order.
    """
    if not _same_frame(base, project):
        return None
    kinds = _kinds(project)
    tables = cut(project.text, kinds)
    if tables is None:
        return None
    for kind, (ours, read, write) in kinds.items():
        theirs = _kinds(base)[kind][0]
        gone = [name for name in theirs if name not in ours]
        new = list(ours)[len(theirs) - len(gone) :]
        if list(ours)[: len(theirs) - len(gone)] != [name for name in theirs if name in ours] or (gone and new):
            return None
        for name in gone:
            del tables.texts[kind, name]
        for name in ours:
            if name in new or ours[name] != theirs[name]:
                one: Any = tomlkit.document() if name in new else tomlkit.parse(tables.texts[kind, name])
                _update(one, kind, {name: ours[name]}, read, write)
                made = tomlkit.dumps(one)
                if name in new:
                    tables.append((kind, name), made)
                else:
                    tables.texts[kind, name] = made
    return _ended_as(tables.text, project.text)


def _kinds(project: Project) -> dict[str, tuple[Mapping[str, Any], Any, Any]]:
    """By kind of table: what the project has of it by name, how one is read (name, table) and how it is written."""

    def reader(read: Any) -> Any:
        return lambda name, table: read(name, Values(table, project.path, name))

    return {
        "parts": (project.parts, lambda name, table: dict(table), dict),
        "shapes": (project.shapes, lambda name, table: dict(table), dict),
        "landmarks": (project.landmarks, reader(lambda name, said: landmark_of(said)), landmark_table),
        "curves": (project.curves, reader(lambda name, said: curve_of(said)), _curve_table),
        "regions": ({region.name: region for region in project.regions}, reader(region_of), _region_table),
        "recipes": ({recipe.name: recipe for recipe in project.recipes}, reader(recipe_of), _recipe_table),
    }


def _ended_as(text: str, before: str) -> str:
    """The text with the ends of lines that most lines had before."""
    if before.count("\r\n") * 2 > before.count("\n"):
        return text.replace("\r\n", "\n").replace("\n", "\r\n")
    return text


def _edited(document: Any, project: Project, folder: Path) -> str:
    document["moue"] = VERSION
    named = {"unit": project.unit, "head": relative_place(project.head_path, folder), "neutral": project.neutral,
             "topology": project.topology or None}  # fmt: skip
    for key, value in named.items():
        if value is None:
            document.pop(key, None)
        elif document.get(key) != value:
            document[key] = value
    if _corrective_tables(project) != document.get("correctives", []):
        document.pop("correctives", None)
        if project.correctives:
            document["correctives"] = _corrective_list(project)
    finer = {str(level): relative_place(place, folder) for level, place in project.levels.items()}
    if finer != dict(document.get("levels", {})):
        document["levels"] = finer
    for kind, (wanted, read, write) in _kinds(project).items():
        _update(document, kind, wanted, read, write)
    return _ended_as(tomlkit.dumps(document), project.text)


def _reads_as(text: str, project: Project, folder: Path) -> bool:
    """Whether a text at `folder` says what the project is, in its order."""
    return _says_the_same(parse_document(text.encode(), folder / "document.toml"), project)


def _says_the_same(read: Project, project: Project) -> bool:
    in_order = list(read.shapes) == list(project.shapes) and list(read.landmarks) == list(project.landmarks)
    return in_order and all(getattr(read, key) == getattr(project, key) for key in SAID) and _same_frame(read, project)


def _same_frame(one: Project, other: Project) -> bool:
    """Whether two projects agree in what stands outside their tables by name: the head, its levels, unit, topology
    and correctives.
    """
    ours, theirs = ({0: p.head_path.resolve()} | {k: v.resolve() for k, v in p.levels.items()} for p in (one, other))
    said = ("unit", "neutral", "topology", "correctives")
    return ours == theirs and all(getattr(one, key) == getattr(other, key) for key in said)


def landmark_table(place: Place) -> dict[str, Any]:
    """The table [landmarks.NAME] of a place."""
    if isinstance(place, SurfacePoint):
        return {"triangle": [int(v) for v in place.triangle], "bary": [float(b) for b in place.bary]}
    return {"vertex": place}


def _curve_table(vertices: tuple[int, ...]) -> dict[str, Any]:
    return {"vertices": [int(v) for v in vertices]}


def relative_place(place: Path, folder: Path) -> str:
    """A place as named from the document's folder, climbing up where it must; absolute on another drive."""
    try:
        return Path(os.path.relpath(place.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return place.resolve().as_posix()


def _update(document: Any, key: str, wanted: Mapping[str, Any], read: Any, write: Any) -> None:
    """Make the tables under `key` those of `wanted`, touching only what differs."""
    if key not in document:
        if not wanted:
            return
        document[key] = tomlkit.table(is_super_table=True)
    tables = document[key]
    gone = [name for name in tables if name not in wanted]
    for name in [name for name in wanted if name not in tables]:
        old = next((each for each in gone if _same(read, name, tables[each], wanted[name])), None)
        if old is not None:  # renamed: its comments go along
            gone.remove(old)
            tables[name] = tables.pop(old)
    for name in gone:
        del tables[name]
    for name, thing in wanted.items():
        if name in tables and _same(read, name, tables[name], thing):
            continue
        made = _table(write(thing))
        if name not in tables:
            tables[name] = made
            continue
        held = tables[name]
        for lost in [k for k in held if k not in made]:
            del held[lost]
        for k, value in made.items():
            if k not in held or _plain(held[k]) != _plain(made[k]):
                held[k] = value
    if list(tables) != list(wanted):
        apart = {name: tables.pop(name) for name in list(tables)}
        for name in wanted:
            tables[name] = apart[name]


def _plain(value: Any) -> Any:
    """A value as Python's own: tomlkit gives true and false as they are, everything else wrapped."""
    return value.unwrap() if hasattr(value, "unwrap") else value


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


def _corrective_tables(project: Project) -> list[dict[str, Any]]:
    """The tables [[correctives]] of a project."""
    return [
        {"shape": one.shape, "when": [
            {"region": t.region, "shape": t.shape, "at": t.at} | ({"mirrored": True} if t.mirrored else {})
            for t in one.triggers
        ]} for one in project.correctives
    ]  # fmt: skip


def _corrective_list(project: Project) -> Any:
    tables = tomlkit.aot()
    for each in _corrective_tables(project):
        table = tomlkit.table()
        table["shape"], table["when"] = each["shape"], _cells(each["when"])
        tables.append(table)
    return tables


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
    if recipe.halo != HALO:
        table["halo"] = recipe.halo
    if recipe.strength != 1.0:
        table["strength"] = recipe.strength
    if recipe.rows:
        table["rows"] = {region: {"kind": row.kind, "amount": row.amount} for region, row in recipe.rows.items()}
    table["cells"] = [
        {"region": c.region, "shape": c.shape, "weight": c.weight} | ({"mirrored": True} if c.mirrored else {})
        for c in recipe.cells
    ]
    return table
