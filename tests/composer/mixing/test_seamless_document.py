"""Seamless recipes in a document: the halo read and written, poses, bakes at a level, and what an edit keeps."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.bake import bake
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Region
from composer.document.store import open_document, save_document
from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.head.levels import levels, refine
from composer.mixing.recipe import HALO, Cell
from tests.small_heads import grid

DOCUMENT = """moue = 1
unit = "mm"
head = "library"
[regions.right]
from = "file"
file = "right.npy"
[recipes.lifted]
join = "seamless"
halo = 0.2   # narrow
cells = [ { region = "right", shape = "lift", weight = 0.8 } ]
[recipes.plain]
cells = [ { region = "right", shape = "lift", weight = 0.8 } ]
"""
SIDE = 21


def places() -> np.ndarray:
    x, y = np.meshgrid(np.linspace(-40, 40, SIDE), np.linspace(-40, 40, SIDE), indexing="ij")
    return np.stack([x.ravel(), y.ravel(), 0.01 * x.ravel() ** 2], axis=1)


@pytest.fixture
def document(tmp_path: Path) -> Path:
    (tmp_path / "library").mkdir()
    rest = places()
    for name, points in (("neutral", rest), ("lift", rest + [0.0, 1.0, 4.0])):
        write_mesh(tmp_path / f"library/{name}.obj", Mesh(grid(SIDE, SIDE), points))
    t = np.clip(rest[:, 0] / 20.0 + 0.5, 0.0, 1.0)
    np.save(tmp_path / "right.npy", t * t * (3.0 - 2.0 * t))
    (tmp_path / "document.toml").write_text(DOCUMENT)
    return tmp_path / "document.toml"


def opened(document: Path) -> EvaluatedDocument:
    return EvaluatedDocument.open(open_document(document))


def test_a_recipe_that_asks_for_it_is_joined_seamlessly_and_another_is_not(document: Path) -> None:
    evaluated = opened(document)
    lifted, plain = evaluated.project.recipe("lifted"), evaluated.project.recipe("plain")
    pose, outside = evaluated.seamless(lifted)
    assert (lifted.halo, plain.halo) == (0.2, HALO)
    assert np.array_equal(evaluated.pose(lifted), pose)
    assert np.array_equal(evaluated.pose(plain), evaluated.mixer.pose(plain))
    assert np.array_equal(evaluated.seamless(plain.with_(halo=0.2))[0], pose)
    moved = np.linalg.norm(pose - evaluated.pose(plain), axis=1)
    assert moved.max() > 0.1
    ramp = np.abs(places()[:, 0]) < 10.0
    assert (outside[ramp] == 0.0).all()
    assert outside.max() > 0.1
    np.testing.assert_allclose(outside[outside > 0.0], moved[outside > 0.0], atol=1e-12)


def test_half_the_strength_is_half_the_way(document: Path) -> None:
    evaluated = opened(document)
    lifted = evaluated.project.recipe("lifted")
    half = 0.5 * (evaluated.head.neutral + evaluated.pose(lifted))
    np.testing.assert_allclose(evaluated.pose(lifted, 0.5), half, atol=1e-12)


def test_the_halo_is_kept_when_the_document_is_saved(document: Path, tmp_path: Path) -> None:
    project = open_document(document)
    wider = tuple(each.with_(halo=0.5) if each.name == "plain" else each for each in project.recipes)
    save_document(project.with_(recipes=wider), tmp_path / "saved.toml")
    text = (tmp_path / "saved.toml").read_text()
    assert "halo = 0.2   # narrow" in text and "halo = 0.5" in text
    saved = open_document(tmp_path / "saved.toml")
    assert [each.halo for each in saved.recipes] == [0.2, 0.5]


@pytest.mark.parametrize("halo", ["1.2", "-0.1", "nan", "true", "'wide'"])
def test_a_halo_that_is_none_is_one_line(document: Path, halo: str) -> None:
    document.write_text(DOCUMENT.replace("halo = 0.2", f"halo = {halo}"))
    with pytest.raises(MoueError, match="halo"):
        open_document(document)


def test_a_weight_keeps_the_join_and_a_mask_does_not(document: Path) -> None:
    evaluated = opened(document)
    lifted = evaluated.project.recipe("lifted")
    join = evaluated.seamless_join(lifted)
    louder = lifted.with_(cells=(Cell("right", "lift", 1.0),))
    after = evaluated.again(evaluated.project.with_(recipes=(louder,)))
    assert after.seamless_join(louder) is join
    source = {"from": "vertices", "vertices": list(range(100)), "ramp_mm": 12.0}
    masked = after.again(after.project.with_(regions=(Region("right", source),)))
    assert masked.seamless_join(louder) is not join


@pytest.mark.parametrize("finer", [False, True])
def test_at_a_level_the_cage_is_joined_and_then_refined(document: Path, finer: bool) -> None:
    steps = levels(grid(SIDE, SIDE), 1)
    if finer:  # the same library at level 1, with no detail of its own
        (document.parent / "fine").mkdir()
        for name in ("neutral", "lift"):
            cage = read_mesh(document.parent / f"library/{name}.obj").positions
            write_mesh(document.parent / f"fine/{name}.obj", Mesh(steps[-1].polygons, refine(cage, steps)))
        document.write_text(DOCUMENT + '[levels]\n1 = "fine"\n')
    evaluated = opened(document)
    recipe = evaluated.project.recipe("lifted")
    bake(evaluated, document.parent / "out", [recipe], level=1)
    baked = read_mesh(document.parent / "out/lifted.obj").positions
    np.testing.assert_allclose(baked, refine(evaluated.pose(recipe), steps), atol=2e-5)
