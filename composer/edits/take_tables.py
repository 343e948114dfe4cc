"""Tables back into a document: recipes, clips, regions and masks, from the files that `tables_out` writes or others.

What is named as something that is there takes its place; what is new comes last. What a table does not name stays.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.document.clip_table import clip_of
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project, Region
from composer.document.read import recipe_of, region_of
from composer.document.recipe_table import NAME, check_names, recipes_of_table
from composer.document.tables_out import REGION, TIME, VERTEX
from composer.document.text import relative_place
from composer.document.values import Values
from composer.edits.clips import add_clip, replace_clip
from composer.edits.recipes import add_recipe, replace_recipe
from composer.edits.regions import add_region, set_mask
from composer.errors import MoueError
from composer.formats.table_csv import Table, read_table
from composer.head.reading import DAMAGE, text_of
from composer.mixing.clip import Clip
from composer.mixing.recipe import ALL, REMAINDER, Recipe

MOST_BYTES = 512 << 20
SAME = 1e-7
"""A mask that differs by no more than this from the region's own is that mask, and the region keeps its source."""


def take_table(project: Project, path: Path | str, evaluated: EvaluatedDocument) -> Project:
    """The project with what a file says. `evaluated` is the state of `project`.

    A CSV is known by its columns: `recipe` recipes, `region` regions, `vertex` masks, `time` a clip, which is then
    named as the file and plays from it. Raises MoueError with file, row and column for what cannot be; nothing is then
    taken.
    """
    path = Path(path)
    if path.suffix.lower() == ".json":
        return _json(project, path, evaluated)
    table = read_table(path)
    if NAME in table.names:
        return take_recipes(project, recipes_of_table(table), path, evaluated)
    if REGION in table.names:
        return _regions(project, _region_tables(table), path)
    if VERTEX in table.names:
        return _masks(project, _mask_columns(table, evaluated), path, evaluated)
    if TIME in [name.lower() for name in table.names]:
        clip = Clip(path.stem, file=relative_place(path, project.path.parent))
        return _clip(project, clip)
    hint = "a table has a column recipe, region, vertex or time"
    raise MoueError("is a table of nothing that a document has", path, 1, hint=hint)


def take_recipes(
    project: Project, recipes: Sequence[Recipe], path: Path, evaluated: EvaluatedDocument
) -> Project:  # fmt: skip
    """The project with recipes of a table. Raises MoueError for a region or shape that is not there."""
    regions = [ALL, REMAINDER, *(region.name for region in project.regions)]
    check_names(recipes, path, regions, evaluated.head.shape_names)
    known = {recipe.name for recipe in project.recipes}
    for recipe in recipes:
        project = replace_recipe(project, recipe.name, recipe) if recipe.name in known else add_recipe(project, recipe)
    return project


def _clip(project: Project, clip: Clip) -> Project:
    known = {one.name for one in project.clips}
    return replace_clip(project, clip.name, clip) if clip.name in known else add_clip(project, clip)


def _region_tables(table: Table) -> list[dict[str, Any]]:
    found = []
    for line, fields in table.rows:
        said: dict[str, Any] = {}
        for column, (name, field) in enumerate(zip(table.names, fields, strict=True)):
            if name == REGION:
                said["name"] = field
            elif field and name == "source":
                said |= _object(table, line, column, field)
            elif field and name in ("number", "colour"):
                said[name] = int(table.number(line, column, field, 1, 9999))
            elif name == "locked" and field:
                if field.lower() not in ("true", "false"):
                    raise table.wrong(line, column, f"is {field!r}", "write true or false")
                said[name] = field.lower() == "true"
            elif field:
                said[name] = field
        found.append(said)
    return found


def _object(table: Table, line: int, column: int, field: str) -> dict[str, Any]:
    try:
        held = json.loads(field)
    except DAMAGE:
        held = None
    if not isinstance(held, dict):
        raise table.wrong(line, column, "is no JSON object", 'as {"from": "landmarks"}')
    return held


def _regions(project: Project, tables: Sequence[Mapping[str, Any]], path: Path) -> Project:
    for said in tables:
        name = said.get("name")
        if not isinstance(name, str) or not name:
            raise MoueError("has a region without a name", path)
        table = {key: value for key, value in said.items() if key not in ("name", "mask")}
        region = region_of(name, Values(table, path, f"region {name!r}"))
        own = next((one for one in project.regions if one.name == name), None)
        if own is None:
            if region.source.get("from") == "file" and "file" in region.source:
                what = f"region {name!r} has its mask in a file, which the table does not hold"
                raise MoueError(what, path, hint="take the table of masks first")
            project = add_region(project, region)
            continue
        if region.source.get("from") == own.source.get("from") == "file":
            region = replace(region, source=own.source)
        regions = tuple(region if one is own else one for one in project.regions)
        project = project.with_(regions=regions)
    return project


def _mask_columns(table: Table, evaluated: EvaluatedDocument) -> dict[str, NDArray[np.float64]]:
    n = evaluated.head.n_vertices
    at = table.names.index(VERTEX)
    if len(table.rows) != n:
        raise MoueError(f"has {len(table.rows):,} rows, the head {n:,} vertices", table.path, hint="one row a vertex")
    order = np.array([table.number(line, at, fields[at], 0, n - 1) for line, fields in table.rows])
    twice = np.flatnonzero(np.bincount(order.astype(np.int64), minlength=n) != 1)
    if len(twice) or (order % 1.0).any():
        raise MoueError(f"does not have each vertex once: look at vertex {twice[0] if len(twice) else 0}", table.path)
    masks = {}
    for column, name in enumerate(table.names):
        if column != at and name != REMAINDER:
            mask = np.empty(n)
            values = [table.number(line, column, fields[column], 0.0, 1.0) for line, fields in table.rows]
            mask[order.astype(np.int64)] = values
            masks[name.removesuffix(" %")] = mask
    return masks


def _masks(
    project: Project, masks: Mapping[str, NDArray], path: Path, evaluated: EvaluatedDocument
) -> Project:  # fmt: skip
    known = {region.name for region in project.regions}
    for name, values in masks.items():
        if len(values) != evaluated.head.n_vertices:
            what = f"has {len(values):,} values for region {name!r}, the head {evaluated.head.n_vertices:,} vertices"
            raise MoueError(what, path)
        own = evaluated.raw.get(name)
        if name not in known:
            project = add_region(project, Region(name, {"from": "file"}), values)
        elif own is None or np.abs(own - values).max(initial=0.0) > SAME:
            project = set_mask(project, name, values)
    return project


def _json(project: Project, path: Path, evaluated: EvaluatedDocument) -> Project:
    try:
        held = json.loads(text_of(path, MOST_BYTES, "tables"))
    except json.JSONDecodeError as error:
        raise MoueError(f"is not JSON: {error.msg}", path, error.lineno) from None
    except DAMAGE:
        raise MoueError("is not JSON in UTF-8", path) from None
    if not isinstance(held, dict):
        raise MoueError("is no JSON object", path, hint='as {"recipes": [...]}')
    topology = held.get("topology")
    if topology and topology != evaluated.topology:
        raise MoueError("was made for another topology", path, hint="its masks are for other vertices")
    whole = Values(held, path, "the file")
    regions = [_plain(each) for each in whole.rows("regions", "region")]
    masks: dict[str, NDArray] = {}
    for said in regions:
        if "mask" in said:
            masks[str(said.get("name"))] = _numbers(said["mask"], path, str(said.get("name")))
            if said.get("from") == "file" and str(said.get("name")) not in {one.name for one in project.regions}:
                said.pop("file", None)
    project = _regions(project, regions, path)
    project = _masks(project, masks, path, evaluated)
    recipes = [recipe_of(_name(each), _without_name(each)) for each in whole.rows("recipes", "recipe")]
    project = take_recipes(project, recipes, path, evaluated)
    for each in whole.rows("clips", "clip"):
        project = _clip(project, clip_of(_name(each), _without_name(each)))
    return project


def _plain(said: Values) -> dict[str, Any]:
    return dict(said.table)


def _name(said: Values) -> str:
    name = said.text("name")
    if name is None:
        raise said.error("has no name")
    return name


def _without_name(said: Values) -> Values:
    table = {key: value for key, value in said.table.items() if key != "name"}
    return Values(table, said.path, f"{said.where} ({said.table['name']})")


def _numbers(values: object, path: Path, name: str) -> NDArray[np.float64]:
    try:
        mask = np.array(values, dtype=np.float64)
    except DAMAGE:
        mask = np.array(np.nan)
    if mask.ndim != 1 or not ((mask >= 0.0) & (mask <= 1.0)).all():
        raise MoueError(f"has a mask of region {name!r} that is not numbers from 0 to 1", path)
    return mask
