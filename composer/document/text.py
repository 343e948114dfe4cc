"""A project as the text of a document; unchanged lines and comments stay."""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from composer.document.clip_table import clip_of, clip_table
from composer.document.join_keys import join_keys
from composer.document.kept_view import view_of, view_table
from composer.document.project import VERSION, EarlierFile, Project, Region
from composer.document.read import curve_of, landmark_of, parse_document, recipe_of, region_of
from composer.document.reference_picture import reference_of, reference_table
from composer.document.tables import cut
from composer.document.values import Values
from composer.errors import MoueError
from composer.head.places import Place, SurfacePoint
from composer.mixing.recipe import Recipe
from masks.partition import FACE

SAID = (
    "unit", "neutral", "axes", "topology", "regions", "recipes", "parts", "shapes", "landmarks", "curves", "guesses",
    "correctives", "clips", "views", "references",
)  # fmt: skip
"""Fields of a project that do not depend on its path."""


def document_text(project: Project, folder: Path) -> str:
    """The TOML text of a project, with its head's path relative to `folder`; `project.text` is edited.

    The edited text is parsed and compared with the project. If it differs (tables that stand apart cannot always be
    reordered), the text is written from scratch, without its comments. Raises MoueError where that differs, too: such
    a project could not be opened again.
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
        raise MoueError("cannot be written as a document that reads back the same", project.path)
    return text


def _edited_tables(project: Project, base: Project) -> str | None:
    """The project's text, which now describes `base`, with the changed tables replaced.

    None where the order of tables changed, or anything outside tables.
    """
    if not _same_frame(base, project):
        return None
    kinds = _kinds(project)
    tables = cut(project.text, kinds)
    if tables is None:
        return None
    for kind, (entries, read, write) in kinds.items():
        base_entries = _kinds(base)[kind][0]
        removed = [name for name in base_entries if name not in entries]
        added = list(entries)[len(base_entries) - len(removed) :]
        same_order = list(entries)[: len(base_entries) - len(removed)] == [n for n in base_entries if n in entries]
        if not same_order or (removed and added):
            return None
        for name in removed:
            del tables.texts[kind, name]
        for name in entries:
            if name in added or entries[name] != base_entries[name]:
                one: Any = tomlkit.document() if name in added else tomlkit.parse(tables.texts[kind, name])
                _update(one, kind, {name: entries[name]}, read, write)
                written = tomlkit.dumps(one)
                if name in added:
                    tables.append((kind, name), written)
                else:
                    tables.texts[kind, name] = written
    return _ended_as(tables.text, project.text)


def _kinds(project: Project) -> dict[str, tuple[Mapping[str, Any], Any, Any]]:
    """By kind of table: its entries by name, a reader of (name, table) and a writer of an entry."""

    def reader(read: Any) -> Any:
        return lambda name, table: read(name, Values(table, project.path, name))

    def guessed(places: Mapping[str, Any]) -> dict[str, tuple[Any, bool]]:
        return {name: (place, name in project.guesses) for name, place in places.items()}

    return {
        "parts": (project.parts, lambda name, table: dict(table), dict),
        "shapes": (project.shapes, lambda name, table: dict(table), dict),
        "landmarks": (
            guessed(project.landmarks), reader(lambda name, said: (landmark_of(said), said.flag("guess"))),
            lambda entry: _guess(landmark_table(entry[0]), entry[1]),
        ),
        "curves": (
            guessed(project.curves), reader(lambda name, said: (curve_of(said), said.flag("guess"))),
            lambda entry: _guess(_curve_table(entry[0]), entry[1]),
        ),
        "regions": ({region.name: region for region in project.regions}, reader(region_of), region_table),
        "recipes": ({recipe.name: recipe for recipe in project.recipes}, reader(recipe_of), recipe_table),
        "clips": ({clip.name: clip for clip in project.clips}, reader(clip_of), clip_table),
        "views": ({view.name: view for view in project.views}, reader(view_of), view_table),
        "references": ({one.name: one for one in project.references}, reader(reference_of), reference_table),
    }


def _ended_as(text: str, before: str) -> str:
    """The text with the line endings of most lines in `before`."""
    if before.count("\r\n") * 2 > before.count("\n"):
        return text.replace("\r\n", "\n").replace("\n", "\r\n")
    return text


def _edited(document: Any, project: Project, folder: Path) -> str:
    document["moue"] = VERSION
    named = {"unit": project.unit, "head": relative_place(project.head_path, folder), "neutral": project.neutral,
             "up": None, "ahead": None, **(project.axes.written if project.axes else {}),
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
    earlier = {name: _earlier_table(file, folder) for name, file in project.earlier.items()}
    if earlier != _plain(document.get("earlier", {})):
        document.pop("earlier", None)
        if earlier:
            document["earlier"] = tomlkit.table(is_super_table=True)
            for name, said in earlier.items():
                document["earlier"][name] = _table(said)
    for kind, (wanted, read, write) in _kinds(project).items():
        _update(document, kind, wanted, read, write)
    return _ended_as(tomlkit.dumps(document), project.text)


def _reads_as(text: str, project: Project, folder: Path) -> bool:
    """Whether a text in `folder` parses to the project, in the same order."""
    return _says_the_same(parse_document(text.encode(), folder / "document.toml"), project)


def _says_the_same(read: Project, project: Project) -> bool:
    in_order = list(read.shapes) == list(project.shapes) and list(read.landmarks) == list(project.landmarks)
    return in_order and all(getattr(read, key) == getattr(project, key) for key in SAID) and _same_frame(read, project)


def _same_frame(one: Project, other: Project) -> bool:
    """Whether two projects agree outside their named tables: head, levels, earlier heads, unit, neutral, axes, topology
    and correctives."""
    fields = ("unit", "neutral", "axes", "topology", "correctives")
    same = referred_places(one) == referred_places(other)
    return same and all(getattr(one, key) == getattr(other, key) for key in fields)


def referred_places(project: Project) -> list[tuple[str, Path, str | None]]:
    """What a document refers to beside its arrays, in order: its head, its levels and its earlier heads, each with its
    name, its resolved place, and its unit where one is said."""
    levels = [(str(level), place.resolve(), None) for level, place in sorted(project.levels.items())]
    earlier = [(name, file.path.resolve(), file.unit) for name, file in project.earlier.items()]
    return [("head", project.head_path.resolve(), None), *levels, *earlier]


def _earlier_table(file: EarlierFile, folder: Path) -> dict[str, Any]:
    """The table [earlier.NAME] of a file, for a document in `folder`."""
    return {"file": relative_place(file.path, folder)} | ({"unit": file.unit} if file.unit else {})


def landmark_table(place: Place) -> dict[str, Any]:
    """The table [landmarks.NAME] of a place."""
    if isinstance(place, SurfacePoint):
        return {"triangle": [int(v) for v in place.triangle], "bary": [float(b) for b in place.bary]}
    return {"vertex": place}


def _guess(table: dict[str, Any], guess: bool) -> dict[str, Any]:
    return {**table, "guess": True} if guess else table


def _curve_table(vertices: tuple[int, ...]) -> dict[str, Any]:
    return {"vertices": [int(v) for v in vertices]}


def relative_place(place: Path, folder: Path) -> str:
    """A path relative to the document's folder, with `..` where needed; absolute on another drive."""
    try:
        return Path(os.path.relpath(place.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return place.resolve().as_posix()


def _update(document: Any, key: str, wanted: Mapping[str, Any], read: Any, write: Any) -> None:
    """Set the tables under `key` to `wanted`, changing only what differs."""
    if key not in document:
        if not wanted:
            return
        document[key] = tomlkit.table(is_super_table=True)
    tables = document[key]
    removed = [name for name in tables if name not in wanted]
    for name in [name for name in wanted if name not in tables]:
        old = next((each for each in removed if _same(read, name, tables[each], wanted[name])), None)
        if old is not None:  # renamed: it keeps its comments
            removed.remove(old)
            tables[name] = tables.pop(old)
    for name in removed:
        del tables[name]
    for name, thing in wanted.items():
        if name in tables and _same(read, name, tables[name], thing):
            continue
        written = _table(write(thing))
        if name not in tables:
            tables[name] = written
            continue
        table = tables[name]
        for lost in [k for k in table if k not in written]:
            del table[lost]
        for k, value in written.items():
            if k not in table or _plain(table[k]) != _plain(written[k]):
                table[k] = value
    if list(tables) != list(wanted):
        detached = {name: tables.pop(name) for name in list(tables)}
        for name in wanted:
            tables[name] = detached[name]


def _plain(value: Any) -> Any:
    """A value as a plain Python object: tomlkit wraps all but true and false."""
    return value.unwrap() if hasattr(value, "unwrap") else value


def _same(read: Any, name: str, table: Any, thing: Any) -> bool:
    try:
        return bool(read(name, table.unwrap()) == thing)
    except MoueError:
        return False


def _table(values: Mapping[str, Any]) -> Any:
    table = tomlkit.table()
    for key, value in values.items():
        table[key] = _cells(value) if key in ("cells", "keys") else _inline(value) if isinstance(value, dict) else value
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


def region_table(region: Region) -> dict[str, Any]:
    """The table [regions.NAME] of a region."""
    table = dict(region.source)
    if region.locked:
        table["locked"] = True
    if region.set != FACE:
        table["set"] = region.set
    signs = {"number": region.number, "colour": region.colour}
    return table | {key: said for key, said in signs.items() if said is not None}


def recipe_table(recipe: Recipe) -> dict[str, Any]:
    """The table [recipes.NAME] of a recipe."""
    table: dict[str, Any] = {}
    if recipe.note:
        table["note"] = recipe.note
    table |= join_keys(recipe)
    if recipe.strength != 1.0:
        table["strength"] = recipe.strength
    if recipe.rows:
        table["rows"] = {region: {"kind": row.kind, "amount": row.amount} for region, row in recipe.rows.items()}
    table["cells"] = [
        {"region": c.region, "shape": c.shape, "weight": c.weight} | ({"mirrored": True} if c.mirrored else {})
        for c in recipe.cells
    ]
    return table
