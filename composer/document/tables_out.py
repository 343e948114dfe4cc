"""What a document says, as tables for spreadsheets and programs: recipes, clips, regions and masks, as CSV and JSON.

`recipes.csv` a recipe a row (`recipe_table`); `regions.csv` a region a row; `masks.csv` a vertex a row and a region a
column, as they are painted or made; `effective.csv` the same after locks and sharing, with parts (teeth, eyeballs) as
they are mixed; `standing.csv` the corners of the skin on which what goes along with it stands, a corner a row, with its
weight; `clips/NAME.csv` the weights of every frame; `shapes.npz` the neutral and the displacement of every
shape that a cell uses, in mm, mirrored ones as `NAME mirrored`; `tables.json` recipes, clips, regions and masks.
"""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np

from composer.document.clip_file import MIRRORED, name_of_cell
from composer.document.clip_table import clip_table
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_clip import EvaluatedClip
from composer.document.recipe_table import recipes_text
from composer.document.text import recipe_table, region_table
from composer.formats.table_csv import table_text
from composer.head.atomic import write_whole
from composer.head.file_names import file_names
from composer.head.new_folder import filled_whole
from composer.mixing.recipe import Cell
from composer.progress import Progress

MANIFEST = "moue-tables.json"
REGION, VERTEX, TIME = "region", "vertex", "time"
REGION_COLUMNS = (REGION, "set", "locked", "number", "colour", "source")


def write_tables(
    evaluated: EvaluatedDocument, folder: Path | str, progress: Progress | None = None
) -> list[Path]:  # fmt: skip
    """Fill `folder` with the tables of a document, whole or not at all. Returns the files' paths.

    Raises MoueError for a folder that holds anything but unchanged earlier tables, and for a clip that cannot be
    evaluated.
    """
    folder = Path(folder)
    files = _texts(evaluated, progress)
    with filled_whole(folder, MANIFEST, "tables") as beside:
        for name, data in files.items():
            (beside / name).parent.mkdir(exist_ok=True)
            write_whole(beside / name, lambda file, data=data: file.write(data), sync=False)  # type: ignore[misc]
    return [folder / name for name in files]


def _texts(evaluated: EvaluatedDocument, progress: Progress | None) -> dict[str, bytes]:
    project = evaluated.project
    files = {
        "recipes.csv": recipes_text(project.recipes),
        "regions.csv": _regions(evaluated),
        "masks.csv": _masks({name: np.asarray(mask) for name, mask in evaluated.raw.items()}, evaluated),
        "effective.csv": _masks(evaluated.mixer.masks, evaluated),
        "standing.csv": _standing(evaluated),
        "tables.json": json.dumps(_everything(evaluated), indent=1, ensure_ascii=False) + "\n",
    }
    stems = file_names([clip.name for clip in project.clips], ".csv")
    for done, clip in enumerate(project.clips):
        if progress is not None:
            progress(done / len(project.clips), f"clip {clip.name}")
        made = EvaluatedClip(evaluated, clip)
        names = [TIME, *(name_of_cell(key) for key in made.cells)]
        rows = np.column_stack([made.times, made.weights]).tolist()
        files[f"clips/{stems[clip.name]}.csv"] = table_text(names, rows)
    return {name: text.encode() for name, text in files.items()} | {"shapes.npz": _shapes(evaluated)}


def _regions(evaluated: EvaluatedDocument) -> str:
    rows = [
        [one.name, one.set, "true" if one.locked else "false", one.number, one.colour, json.dumps(dict(one.source))]
        for one in evaluated.project.regions
    ]
    return table_text(REGION_COLUMNS, rows)


def _masks(masks: dict[str, Any], evaluated: EvaluatedDocument) -> str:
    columns = [np.asarray(mask, dtype=np.float64) for mask in masks.values()]
    rows = np.column_stack(columns).tolist() if columns else [[] for _ in range(evaluated.head.n_vertices)]
    return table_text([VERTEX, *masks], ([v, *row] for v, row in enumerate(rows)))


def _standing(evaluated: EvaluatedDocument) -> str:
    standing = evaluated.mixer.standing
    vertices = np.repeat(standing.vertices, 3).tolist()
    rows = zip(vertices, standing.corners.ravel().tolist(), standing.bary.ravel().tolist(), strict=True)
    return table_text([VERTEX, "corner", "weight"], rows)


def _everything(evaluated: EvaluatedDocument) -> dict[str, Any]:
    project = evaluated.project
    return {
        "moue": 1, "topology": evaluated.topology,
        "recipes": [{"name": one.name, **recipe_table(one)} for one in project.recipes],
        "clips": [{"name": one.name, **clip_table(one)} for one in project.clips],
        "regions": [
            {"name": one.name, **region_table(one), "mask": np.asarray(evaluated.raw[one.name]).tolist()}
            for one in project.regions
        ],
    }  # fmt: skip


def _shapes(evaluated: EvaluatedDocument) -> bytes:
    """The neutral, and the displacement at weight 1 of every shape that a recipe or a clip's key uses."""
    project, mixer = evaluated.project, evaluated.mixer
    things = [(cell.shape, cell.mirrored) for recipe in project.recipes for cell in recipe.cells]
    things += [(key.shape, key.mirrored) for clip in project.clips for key in clip.keys if key.shape]
    names, deltas = [], []
    for shape, mirrored in dict.fromkeys(things):
        if shape in evaluated.head.shape_index:
            names.append(shape + MIRRORED * mirrored)
            deltas.append(mixer.motion(Cell("all", shape, 1.0, mirrored)).at(1.0))
    held = io.BytesIO()
    stacked = np.array(deltas).reshape(len(deltas), evaluated.head.n_vertices, 3)
    np.savez(held, neutral=evaluated.head.neutral, names=np.array(names, dtype=np.str_), deltas=stacked)
    return held.getvalue()
