"""Hinges in a document, and bakes at a level, in steps, and as one file of many shapes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from composer.document.bake import bake
from composer.document.evaluated import EvaluatedDocument
from composer.document.hinges import settled
from composer.document.read import read_document
from composer.document.store import open_document, save_document
from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.head.head import Shape
from composer.head.levels import levels, refine
from composer.mixing.corrective import Corrective, Trigger
from composer.mixing.recipe import Cell, Recipe
from tests.small_heads import grid

TURN = Rotation.from_euler("x", 16, degrees=True)
DOCUMENT = """moue = 1
unit = "cm"
head = "library"
[shapes.drop]   # the jaw
hinge = "auto"
[recipes.half]
cells = [ { region = "all", shape = "drop", weight = 0.5 } ]
"""


@pytest.fixture
def document(tmp_path: Path) -> Path:
    polygons = grid(8, 6)
    rng = np.random.default_rng(3)
    rest = np.column_stack([rng.random((polygons.n_vertices, 2)) * 20, rng.random(polygons.n_vertices) * 5])
    hinge = np.array([0.0, 12.0, -6.0])
    for name, points in (("neutral", rest), ("drop", TURN.apply(rest - hinge) + hinge)):
        (tmp_path / "library").mkdir(exist_ok=True)
        write_mesh(tmp_path / f"library/{name}.obj", Mesh(polygons, points))
    (tmp_path / "document.toml").write_text(DOCUMENT)
    return tmp_path / "document.toml"


def opened(document: Path) -> EvaluatedDocument:
    return EvaluatedDocument.open(open_document(document))


def test_half_a_turn_is_a_turn_of_half_the_angle(document: Path) -> None:
    """R(t theta) = exp(t log R): scipy.spatial.transform.Rotation as the independent turn."""
    evaluated = opened(document)
    pose = evaluated.pose(evaluated.project.recipe("half"))
    hinge = np.array([0.0, 120.0, -60.0])
    half = Rotation.from_rotvec(0.5 * TURN.as_rotvec())
    np.testing.assert_allclose(pose, half.apply(evaluated.head.neutral - hinge) + hinge, atol=1e-3 * 200)
    arm, rest = np.linalg.norm(pose - hinge, axis=1), np.linalg.norm(evaluated.head.neutral - hinge, axis=1)
    np.testing.assert_allclose(arm, rest, rtol=1e-3)


@pytest.mark.parametrize("name", ["document.toml", "packed.moue"])
def test_a_settled_hinge_is_written_once_and_gives_the_same_pose(document: Path, name: str) -> None:
    evaluated = opened(document)
    kept, rigidities, notes = settled(evaluated.project, evaluated.head, evaluated.hinges)
    assert len(notes) == 1
    save_document(kept, document.parent / name, rigidities)
    again = opened(document.parent / name)
    assert isinstance(again.project.shapes["drop"]["hinge"], dict)
    np.testing.assert_allclose(
        again.pose(again.project.recipe("half")), evaluated.pose(evaluated.project.recipe("half")), atol=1e-4
    )
    assert settled(again.project, again.head, again.hinges)[0] is again.project
    assert "# the jaw" in again.project.text or name == "packed.moue"


def test_a_level_is_the_subdivided_pose(document: Path, tmp_path: Path) -> None:
    evaluated = opened(document)
    recipe = evaluated.project.recipe("half")
    bake(evaluated, tmp_path / "out", [recipe], level=2)
    steps = levels(evaluated.head.polygons, 2)
    read = read_mesh(tmp_path / "out/half.obj")
    assert read.n_vertices == steps[-1].n_vertices
    np.testing.assert_allclose(read.positions * 10, refine(evaluated.pose(recipe), steps), atol=1e-4)


@pytest.mark.parametrize("strength", [1.0, 1.33])
def test_steps_turn_by_parts_of_the_angle(document: Path, tmp_path: Path, strength: float) -> None:
    """Weight 0.5 of 16 degrees: the steps of a quarter turn by 2, 4 and 6 degrees, the last by 8. The strength moves
    each of them along its own straight line. scipy.spatial.transform.Rotation as the independent turn."""
    evaluated = opened(document)
    recipe = evaluated.project.recipe("half").with_(strength=strength)
    files = bake(evaluated, tmp_path / "out", [recipe], steps=4)
    assert [file.stem for file in files] == ["neutral", "half_25", "half_50", "half_75", "half"]
    rest, hinge = evaluated.head.neutral, np.array([0.0, 120.0, -60.0])
    size = evaluated.head.diagonal
    for name, degrees in (("half_25", 2), ("half_50", 4), ("half_75", 6), ("half", 8)):
        turned = Rotation.from_euler("x", degrees, degrees=True).apply(rest - hinge) + hinge
        pose = read_mesh(tmp_path / f"out/{name}.obj").positions * 10
        np.testing.assert_allclose(pose, rest + strength * (turned - rest), atol=1e-3 * size, err_msg=name)
    last = read_mesh(tmp_path / "out/half.obj").positions * 10
    np.testing.assert_allclose(last, evaluated.pose(recipe), atol=1e-4)


def test_a_corrective_comes_in_with_the_weights_of_a_step(document: Path, tmp_path: Path) -> None:
    """Two triggers at 1 let it in by the product of the weights: a quarter of the way, by a sixteenth."""
    evaluated = opened(document)
    fix = np.full((48, 3), 4.0, dtype=np.float32)
    head = evaluated.head.with_(shapes=(
        Shape("one", np.zeros((48, 3), np.float32)), Shape("two", np.zeros((48, 3), np.float32)), Shape("fix", fix)
    ))  # fmt: skip
    both = Recipe("both", (Cell("all", "one", 1.0), Cell("all", "two", 1.0)))
    triggers = (Trigger("all", "one", 1.0), Trigger("all", "two", 1.0))
    project = evaluated.project.with_(shapes={}, recipes=(both,), correctives=(Corrective("fix", triggers),))
    bake(EvaluatedDocument(project, head), tmp_path / "out", [both], steps=4)
    rest = read_mesh(tmp_path / "out/neutral.obj").positions * 10
    for name, amount in (("both_25", 1 / 16), ("both_50", 1 / 4), ("both_75", 9 / 16), ("both", 1.0)):
        moved = read_mesh(tmp_path / f"out/{name}.obj").positions * 10 - rest
        np.testing.assert_allclose(moved, 4.0 * amount, atol=1e-4, err_msg=name)


@pytest.mark.parametrize(("suffix", "scale"), [(".glb", 1000.0), (".npz", 10.0)])
def test_a_format_of_many_shapes_is_one_file(document: Path, tmp_path: Path, suffix: str, scale: float) -> None:
    evaluated = opened(document)
    recipe = evaluated.project.recipe("half")
    files = bake(evaluated, tmp_path / "out", [recipe], suffix=suffix)
    assert [file.name for file in files] == [f"document{suffix}"]
    read = read_mesh(files[0])
    assert [shape.name for shape in read.shapes] == ["half"]
    pose = (read.positions + read.shapes[0].delta) * scale
    np.testing.assert_allclose(pose, evaluated.pose(recipe), atol=1e-3)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ('hinge = "door"', '"off", "auto" or a table'),
        ("hinge = { axis = [1, 0], origin = [0, 0, 0], angle_deg = 3, rigidity = 'a' }", "axis to be three numbers"),
        ("hinge = { axis = [1, 0, 0], origin = [0, 0, 0], rigidity = 'a.npy' }", "angle_deg"),
        ('hinge = "auto"\ninbetweens = [ { at = 0.5, target = "x" } ]', "one of the two"),
    ],
)
def test_a_hinge_that_cannot_be_is_told(document: Path, said: str, words: str) -> None:
    document.write_text(DOCUMENT.replace('hinge = "auto"', said))
    with pytest.raises(MoueError, match=words):
        read_document(document)


def test_a_library_at_level_1_gives_its_own_target_back(document: Path, tmp_path: Path) -> None:
    """Region `all`, one cell, weight 1: within 1e-5 of the head's size; at another weight the detail is mixed."""
    evaluated = opened(document)
    steps = levels(evaluated.head.polygons, 1)
    rng = np.random.default_rng(5)
    targets = {}
    for name in ("neutral", "drop"):
        detail = rng.normal(size=(steps[-1].n_vertices, 3)) * 0.05
        targets[name] = refine(evaluated.head.target(name) / 10, steps) + detail
        (tmp_path / "fine").mkdir(exist_ok=True)
        write_mesh(tmp_path / f"fine/{name}.obj", Mesh(steps[-1].polygons, targets[name]))
    text = DOCUMENT.replace('hinge = "auto"', 'hinge = "off"').replace("weight = 0.5", "weight = 1.0")
    document.write_text(text + '[levels]\n1 = "fine"\n')
    evaluated = opened(document)
    bake(evaluated, tmp_path / "out", evaluated.project.recipes, level=1)
    size = np.linalg.norm(np.ptp(targets["neutral"], axis=0))
    for made, name in (("half", "drop"), ("neutral", "neutral")):
        assert np.abs(read_mesh(tmp_path / f"out/{made}.obj").positions - targets[name]).max() <= 1e-5 * size
    (tmp_path / "fine/drop.obj").write_text((document.parent / "library/drop.obj").read_text())
    with pytest.raises(MoueError, match=r"drop\.obj: has .* vertices, level 1 has"):
        bake(opened(document), tmp_path / "again", evaluated.project.recipes, level=1)
