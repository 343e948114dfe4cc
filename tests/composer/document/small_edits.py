"""One edit of every kind on the small document: each takes the project and its ready state, and gives the project."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from composer.document.evaluated import EvaluatedDocument
from composer.document.kept_view import KeptView
from composer.document.project import Project, Region
from composer.edits import clips, correctives, landmarks, recipes, references, regions, rows, shapes, views
from composer.edits.cells import set_cell
from composer.head.places import SurfacePoint
from composer.mixing.clip import Clip, Key
from composer.mixing.corrective import Corrective, Trigger
from composer.mixing.recipe import Cell, Recipe, Row
from tests.composer.document.small_document import COLUMNS, painted

Edit = Callable[[Project, EvaluatedDocument], Project]


def raw(project: Project, evaluated: EvaluatedDocument, name: str) -> np.ndarray:
    """(n,) the raw mask of a region; MoueError where the project has none of this name."""
    return evaluated.raw[project.region(name).name]


EDITS: dict[str, Edit] = {
    "weight": lambda p, r: set_cell(p, "doubt", Cell("all", "lift", 0.9)),
    "mirrored cell": lambda p, r: set_cell(p, "call", Cell("brow_left", "skew", 0.4, True)),
    "row": lambda p, r: rows.set_row(p, "doubt", "brow_left", Row("add", 0.5)),
    "recipe": lambda p, r: recipes.add_recipe(p, Recipe("new", (Cell("remainder", "skew", 1.0),))),
    "flip": lambda p, r: recipes.replace_recipe(
        p, "doubt", rows.flipped_recipe(p.recipe("doubt"), [x.name for x in p.regions], r.head.shape_names)
    ),
    "paint": lambda p, r: regions.set_mask(p, "brow_left", painted(7)),
    "paint landmarks": lambda p, r: regions.set_mask(p, "glabella", painted(8)),
    "lock": lambda p, r: regions.set_locked(p, "brow_right", True),
    "set": lambda p, r: regions.set_region_set(p, "upper", "overlay"),
    "add region": lambda p, r: regions.add_region(p, Region("sellion", {"from": "landmarks", "preset": "glabella"})),
    "rename region": lambda p, r: regions.rename_region(p, "glabella", "Stirn"),
    "rename moving": lambda p, r: regions.rename_region(p, "moving", "tide"),
    "duplicate": lambda p, r: regions.duplicate_region(p, "brow_left")[0],
    "delete region": lambda p, r: regions.delete_region(p, "upper"),
    "move region": lambda p, r: p.with_(regions=(p.regions[-1], *p.regions[:-1])),
    "split": lambda p, r: regions.split_region(p, "upper", raw(p, r, "upper"), r.head.neutral[:, 0], 10.0),
    "mirror mask": lambda p, r: regions.mirror_mask(p, "brow_left", raw(p, r, "brow_left"), r.mirror_map),
    "keep": lambda p, r: shapes.keep_shape(p, "kept", r.mixer.displacement(p.recipes[0]), r.head.shape_names),
    "use kept": lambda p, r: set_cell(
        shapes.keep_shape(p, "held", r.mixer.displacement(p.recipes[0])), "call", Cell("all", "held", 1.0)
    ),
    "forget kept": lambda p, r: shapes.delete_kept_shape(p, "kept"),
    "corrective": lambda p, r: correctives.set_corrective(
        p, Corrective("skew", (Trigger("all", "lift", 0.3), Trigger("brow_left", "au1_left", 0.8)))
    ),
    "another corrective": lambda p, r: correctives.set_corrective(
        p, Corrective("au1_right", (Trigger("upper", "drop", 0.5, True),))
    ),
    "corrective kept": lambda p, r: correctives.set_corrective(
        shapes.keep_shape(p, "fix", r.mixer.displacement(p.recipes[0])),
        Corrective("fix", (Trigger("dots", "lift", 1.5),)),
    ),
    "clip": lambda p, r: clips.add_clip(
        p, Clip("tide", length=1.0, keys=(Key(0.5, "doubt"), Key(1.0, "", 0.4, "glabella", "skew", True)))
    ),
    "view": lambda p, r: views.keep_view(p, KeptView("mouth, near", 20.0, -10.0, 0.0, (0.0, -0.2, 0.4), 0.3)),
    "reference": lambda p, r: references.lay_picture(p, p.path.parent / "pictures" / "front.png")[0],
    "no corrective": lambda p, r: correctives.delete_corrective(p, "skew"),
    "label": lambda p, r: shapes.label_shape(p, "drop", "the drop"),
    "mark unknown": lambda p, r: shapes.mark_shape(p, "gone", True),
    "landmark": lambda p, r: landmarks.place_landmark(p, "glabella", 4 * COLUMNS + 1),
    "landmark on a triangle": lambda p, r: landmarks.place_landmark(
        p, "sellion", SurfacePoint((9, 10, 17), (0.2, 0.3, 0.5))
    ),
    "no landmark": lambda p, r: landmarks.remove_landmark(p, "glabella"),
    "in-between": lambda p, r: p.with_(shapes={**p.shapes, "drop": {"inbetweens": [{"at": 0.5, "target": "drop_50"}]}}),
    "no hinge": lambda p, r: p.with_(shapes={k: v for k, v in p.shapes.items() if k != "drop"}),
    "parts": lambda p, r: p.with_(parts={"plate": {"vertices": [0, 1, 2], "follows": "surface"}}),
    "no parts": lambda p, r: p.with_(parts={}),
}
