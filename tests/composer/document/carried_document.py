"""A document on disk with all that can hang on a head, and a fitted head for it, made here."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from composer.document.evaluated import EvaluatedDocument
from composer.document.store import open_document, save_document
from composer.formats.library import open_library
from composer.formats.mesh import mesh_of
from composer.formats.registry import write_mesh
from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.head.landmarks import write_landmarks
from composer.head.levels import levels, refine
from composer.mixing.clip import Clip, Key
from composer.mixing.corrective import Corrective, Trigger
from tests.composer.document.small_document import COLUMNS, N, small_head, small_project

TURN = Rotation.from_euler("yx", [50, 20], degrees=True)


def new_neutral() -> np.ndarray:
    """A wider, rougher bowl that stands elsewhere."""
    old = small_head().neutral
    rough = np.random.default_rng(8).normal(0.0, 0.3, old.shape)
    return TURN.apply(1.2 * old * [1.1, 1.0, 1.3] + rough) + [30.0, -5.0, 8.0]


def document_on_disk(tmp_path: Path) -> EvaluatedDocument:
    """A document on disk with regions of every source, a hinge, an in-between, a kept shape, a corrective, a level, two
    clips."""
    head = small_head()
    folder = tmp_path / "old/library"
    folder.mkdir(parents=True)
    write_mesh(folder / "neutral.obj", mesh_of(head))
    for shape in head.shapes:
        write_mesh(folder / f"{shape.name}.obj", mesh_of(head, head.target(shape.name)))
    assert head.landmarks is not None
    write_landmarks(folder / "landmarks.toml", head.landmarks)
    steps = levels(head.polygons, 1)
    for name in ("neutral", "lift"):
        fine = refine(head.target(name), steps)
        fine[::3] += 0.2 * (name == "lift")
        (tmp_path / "old/fine").mkdir(exist_ok=True)
        write_mesh(tmp_path / f"old/fine/{name}.obj", mesh_of(Head(name, steps[-1].polygons, fine)))
    kept = np.random.default_rng(2).normal(0.0, 0.5, (N, 3)).astype(np.float32)
    project = small_project(tmp_path / "old/clock.toml").with_(
        head_path=folder, levels={1: tmp_path / "old/fine"},
        parts={"tooth": {"vertices": [N - 1, N - COLUMNS], "follows": "jaw"}},
        shapes={"drop": {"hinge": "auto"}, "lift": {"marked": True}, "fix": {"delta": "shapes/fix.npy"},
                "au1_left": {"inbetweens": [{"at": 0.5, "target": "skew"}]}},
        correctives=(Corrective("fix", (Trigger("all", "lift", 0.3),)),),
        clips=(Clip("talk", file="talk.csv"), Clip("tide", length=1.0, keys=(Key(0.0, "neutral"), Key(1.0, "doubt")))),
    )  # fmt: skip
    (tmp_path / "old/talk.csv").write_text("time,lift,brow_left/drop %\n0,0,0\n1,0.5,60\n")
    recipes = tuple(r for r in project.recipes if all(c.shape != "skew" for c in r.cells))
    stored = {**project.stored, "shapes/fix.npy": kept}
    save_document(project.with_(recipes=recipes, stored=stored), project.path)
    return EvaluatedDocument.open(open_document(project.path))


def fitted_head(tmp_path: Path, polygons: Polygons | None = None) -> Head:
    file = tmp_path / "fitted.obj"
    head = small_head()
    write_mesh(
        file, mesh_of(head.with_(neutral=new_neutral(), groups={}, polygons=polygons or head.polygons), unit="cm")
    )
    file.write_text("# my own head\n" + file.read_text())
    return open_library(file, unit="cm", recognise=False)
