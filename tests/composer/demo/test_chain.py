"""The whole chain on the demo: what comes out of it fits together, file by file."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import trimesh

from composer.demo.chain import RECIPES, chain
from composer.document.evaluated import EvaluatedDocument
from composer.document.store import open_document
from composer.errors import MoueError
from composer.head.levels import vertex_count
from composer.progress import Progress
from tests.demo_heads import sculpt, small_demo_folder

LEVEL = 1
"""Two levels coarser than the demo's own chain, which takes many times as long. The sample's pieces can be laid over
each other in as many ways, so its order is as hard to tell."""


def _as_the_demo_has_it(folder: Path, progress: Progress) -> tuple[EvaluatedDocument, list[str]]:
    """Keeper's library and document as `moue demo` has written them by the same function, with few of the shapes."""
    shutil.copytree(small_demo_folder(), folder, dirs_exist_ok=True)
    return EvaluatedDocument.open(open_document(folder / "document.toml")), []


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    """The chain's folder and its lines. The library and the sculpt that it begins with are those of the whole run."""
    folder = tmp_path_factory.mktemp("chain") / "made"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("composer.demo.chain.write_library_and_document", _as_the_demo_has_it)
        patch.setattr("composer.demo.chain.LEVEL", LEVEL)
        patch.setattr("composer.demo.chain.build_sculpt", lambda character: sculpt(character.name))
        return folder, chain(folder, lambda fraction, words: None)


def test_the_fit_lies_on_the_sculpt_and_nothing_is_turned_over(made: tuple[Path, list[str]]) -> None:
    report = json.loads((made[0] / "fit" / "report.json").read_text())
    assert report["reversed_faces"] == report["folded_faces"] == 0
    assert report["distance"]["p95"] < 0.5  # common practice, no source: below half a millimetre on the face
    assert max(report["landmarks"].values()) < 4.0


def test_the_new_document_opens_and_mixes(made: tuple[Path, list[str]]) -> None:
    evaluated = EvaluatedDocument.open(open_document(made[0] / "ferrier" / "document.toml"))
    old = EvaluatedDocument.open(open_document(made[0] / "keeper_library" / "document.toml"))
    assert evaluated.head.shape_names == old.head.shape_names
    assert [r.name for r in evaluated.project.regions] == [r.name for r in old.project.regions]
    for name in RECIPES:
        moved = np.linalg.norm(evaluated.pose(evaluated.project.recipe(name)) - evaluated.head.neutral, axis=1)
        assert 3.0 < moved.max() < 60.0


def test_targets_have_the_vertex_order_of_the_sample(made: tuple[Path, list[str]]) -> None:
    evaluated = EvaluatedDocument.open(open_document(made[0] / "ferrier" / "document.toml"))
    sample = trimesh.load(made[0] / "ferrier_level3.obj", process=False, maintain_order=True)
    assert len(sample.vertices) == vertex_count(evaluated.head.polygons, LEVEL)
    size = np.linalg.norm(np.ptp(sample.vertices, axis=0))
    for name in RECIPES:
        baked = trimesh.load(made[0] / "baked" / f"{name}.obj", process=False, maintain_order=True)
        assert (baked.faces == sample.faces).all()
        away = np.linalg.norm(baked.vertices - sample.vertices, axis=1)
        assert np.median(away) < 0.02 * size and away.max() < 0.2 * size


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(MoueError, match="not empty"):
        chain(tmp_path, lambda fraction, words: None)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]
