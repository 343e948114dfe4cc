"""A document matched to targets: planted cells come back through the whole way, and locked ones stay."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project, Region
from composer.document.store import open_document, save_document
from composer.edits.correctives import set_corrective
from composer.edits.match import Matched, Matcher, matched_document
from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.registry import write_mesh
from composer.head.head import Head, Shape
from composer.mixing.corrective import Corrective, Trigger
from composer.mixing.match import Bounds
from composer.mixing.recipe import Cell, Recipe
from tests.composer.document.small_document import COLUMNS, POLYGONS, ROWS, N, small_head
from tests.forked import moue

ROW = np.repeat(np.arange(ROWS), COLUMNS)
SIDE = np.tile(np.arange(COLUMNS) - COLUMNS // 2, ROWS)


def three_regions(path: Path = Path("clock.moue")) -> Project:
    """Upper, left and right masks that share the face, painted; nothing of it on the last row."""
    masks = {"upper": ROW > 5, "lower_left": (ROW <= 5) & (SIDE >= 0), "lower_right": (ROW <= 5) & (SIDE <= 0)}
    stored = {f"masks/{name}.npy": np.where(on, 1.0, 0.0).astype(np.float32) for name, on in masks.items()}
    regions = tuple(Region(name, {"from": "file", "file": f"masks/{name}.npy"}) for name in masks)
    return Project(path, Path("library"), "mm", "neutral", regions=regions, stored=stored)


def straight_head() -> Head:
    """The small head with two shapes that nothing else is made of, and no tooth."""
    rng = np.random.default_rng(5)
    shapes = tuple(Shape(name, rng.normal(size=(N, 3)).astype(np.float32)) for name in ("surprise", "grin"))
    return small_head().with_(shapes=shapes, parts=())


def opened(head: Head | None = None) -> EvaluatedDocument:
    project = three_regions()
    evaluated = EvaluatedDocument(project, head or straight_head())
    return evaluated.again(project)


PLANTED = (Cell("upper", "surprise", 0.8), Cell("lower_left", "grin", 0.5), Cell("lower_right", "surprise", 0.25))


def weights(matched: Matched) -> dict[tuple[str, str], float]:
    return {(c.region, c.shape): round(c.weight, 5) for c in matched.cells if abs(c.weight) > 1e-5}


def test_planted_cells_come_back() -> None:
    evaluated = opened()
    matched = Matcher(evaluated).solve(evaluated.pose(Recipe("planted", PLANTED)))
    assert weights(matched) == {(c.region, c.shape): c.weight for c in PLANTED}
    assert matched.explained == pytest.approx(1.0) and max(matched.p50_p95_most) < 1e-4


def test_locked_cells_stay_and_the_others_follow() -> None:
    evaluated = opened()
    locked = (Cell("all", "grin", 0.3), Cell("upper", "surprise", 0.1))
    pose = evaluated.pose(Recipe("planted", (Cell("all", "grin", 0.3), *PLANTED)))
    matched = Matcher(evaluated).solve(pose, locked=locked)
    found = weights(matched)
    assert found["all", "grin"] == 0.3 and found["upper", "surprise"] == 0.1
    assert found["lower_left", "grin"] == pytest.approx(0.5, abs=1e-4)


def test_only_the_chosen_regions_and_shapes_are_used() -> None:
    evaluated = opened()
    pose = evaluated.pose(Recipe("planted", PLANTED))
    matched = Matcher(evaluated, ["upper"], ["surprise"]).solve(pose)
    assert weights(matched) == {("upper", "surprise"): 0.8}
    with pytest.raises(MoueError, match="no region is named 'uper'; did you mean upper"):
        Matcher(evaluated, ["uper"])
    with pytest.raises(MoueError, match="no shape is named 'gin'; did you mean grin"):
        Matcher(evaluated, None, ["gin"])


def test_only_the_chosen_vertices_count() -> None:
    evaluated = opened()
    pose = evaluated.pose(Recipe("planted", PLANTED)).copy()
    pose[ROW <= 5] += 40.0
    matched = Matcher(evaluated).solve(pose, vertices=np.flatnonzero(ROW > 5))
    assert weights(matched) == {("upper", "surprise"): 0.8}
    assert matched.p50_p95_most[2] < 1e-3 and matched.residual.max() > 40.0


def test_symmetric_gives_both_sides_one_weight() -> None:
    evaluated = opened()
    matched = Matcher(evaluated).solve(evaluated.pose(Recipe("planted", PLANTED)), symmetric=True)
    found = weights(matched)
    for shape in ("surprise", "grin"):
        assert found.get(("lower_left", shape)) == found.get(("lower_right", shape))
    assert found["upper", "surprise"] == 0.8


def test_through_hinge_and_corrective_the_pose_comes_back() -> None:
    head = small_head().with_(parts=())
    drop = {"drop": {"hinge": "auto"}}
    project = three_regions().with_(shapes=drop)
    project = set_corrective(project, Corrective("skew", (Trigger("upper", "drop", 1.0),)))
    evaluated = EvaluatedDocument(project, head).again(project)
    planted = Recipe("planted", (Cell("upper", "drop", 0.6), Cell("lower_left", "lift", 0.3)))
    assert "skew" not in Matcher(evaluated).shapes
    matched = Matcher(evaluated, None, ["drop", "lift"]).solve(evaluated.pose(planted))
    assert weights(matched) == pytest.approx({("upper", "drop"): 0.6, ("lower_left", "lift"): 0.3}, abs=1e-2)
    assert matched.explained > 0.9999
    warm = Matcher(evaluated, None, ["drop", "lift"]).solve(
        evaluated.pose(planted), warm=matched.cells, locked=[Cell("upper", "drop", 0.6)]
    )
    assert weights(warm) == pytest.approx({("upper", "drop"): 0.6, ("lower_left", "lift"): 0.3}, abs=1e-2)


def test_warm_from_the_last_answer_is_the_same_answer() -> None:
    evaluated = opened()
    matcher, pose = Matcher(evaluated), evaluated.pose(Recipe("planted", PLANTED)) + 0.2
    cold = matcher.solve(pose)
    warm = matcher.solve(pose, warm=PLANTED)
    assert weights(warm) == pytest.approx(weights(cold), abs=1e-4)


def test_a_target_that_no_weights_reach_says_how_little() -> None:
    evaluated = opened()
    away = np.random.default_rng(9).normal(size=(N, 3))
    matched = Matcher(evaluated).solve(evaluated.head.neutral + away)
    assert matched.explained < 0.5 and matched.p50_p95_most[0] > 0.5


@pytest.mark.parametrize(
    ("target", "words"),
    [
        (np.zeros((4, 3)), "4 vertices, the head 63"),
        (np.full((N, 3), np.nan), "63 vertices with positions that are not finite"),
    ],
)
def test_a_target_that_is_none_is_refused(target: NDArray, words: str) -> None:
    with pytest.raises(MoueError, match=words):
        Matcher(opened()).solve(target)


def test_the_answer_is_a_document_of_one_recipe(tmp_path: Path) -> None:
    evaluated = opened()
    pose = evaluated.pose(Recipe("planted", PLANTED)) + 0.1
    matched = Matcher(evaluated).solve(pose)
    made = matched_document(evaluated.project, tmp_path / "m.moue", "scan", matched, "rest", evaluated.head.shape_names)
    saved = save_document(made, tmp_path / "m.moue")
    again = EvaluatedDocument(open_document(tmp_path / "m.moue"), evaluated.head)
    (recipe,) = again.project.recipes
    assert recipe.name == "scan" and all(abs(c.weight) >= 1e-4 for c in recipe.cells)
    assert not recipe.contact and matched_document(evaluated.project, tmp_path, "scan", matched).recipes[0].contact
    whole = again.pose(recipe.with_(cells=(*recipe.cells, Cell("all", "rest", 1.0))))
    np.testing.assert_allclose(whole, pose, atol=2e-3)
    assert saved.shapes["rest"]["delta"].startswith("shapes/")
    with pytest.raises(MoueError, match="may not be named 'neutral'"):
        matched_document(evaluated.project, tmp_path / "m.moue", "neutral", matched)
    with pytest.raises(MoueError, match="'grin' is there already"):
        matched_document(evaluated.project, tmp_path / "m.moue", "scan", matched, "grin", evaluated.head.shape_names)


def test_a_bound_that_is_met_is_kept() -> None:
    evaluated = opened()
    pose = evaluated.pose(Recipe("planted", (Cell("upper", "surprise", 1.8), Cell("lower_left", "grin", -0.5))))
    found = weights(Matcher(evaluated).solve(pose))
    assert found["upper", "surprise"] == 1.0 and all(0.0 <= w <= 1.0 for w in found.values())
    wide = weights(Matcher(evaluated).solve(pose, bounds=Bounds(-1.0, 2.0)))
    assert wide == {("upper", "surprise"): 1.8, ("lower_left", "grin"): -0.5}


@pytest.fixture
def library(tmp_path: Path) -> Path:
    head = straight_head()
    folder = tmp_path / "library"
    folder.mkdir()
    for name in ("neutral", *head.shape_names):
        write_mesh(folder / f"{name}.obj", Mesh(POLYGONS, head.target(name)))
    project = three_regions(tmp_path / "clock.moue").with_(head_path=folder)
    save_document(project, tmp_path / "clock.moue")
    return tmp_path


def test_the_command_writes_a_document_and_figures(library: Path) -> None:
    pose = opened().pose(Recipe("planted", PLANTED))
    write_mesh(library / "scan.obj", Mesh(POLYGONS, pose))
    done = moue("match", library / "clock.moue", library / "scan.obj", "--to", library / "scan.moue")
    assert done.returncode == 0, done.stderr
    assert "0.800  upper x surprise" in done.stdout and "recipe 'scan', 3 cells reach 100.0 percent" in done.stdout
    assert "the whole face alone reaches" in done.stderr
    every = ("--sparse", "0", "--no-whole", "--to", library / "every.moue")
    assert "condition" in moue("match", library / "clock.moue", library / "scan.obj", *every).stderr
    twice = moue("match", library / "clock.moue", library / "scan.obj", "--to", library / "scan.moue")
    assert twice.returncode == 2 and "is there already" in twice.stderr


def test_the_command_says_where_no_weights_reach(library: Path) -> None:
    away = 3.0 * np.random.default_rng(9).normal(size=(N, 3))
    write_mesh(library / "scan.obj", Mesh(POLYGONS, straight_head().neutral + away))
    done = moue("match", library / "clock.moue", library / "scan.obj", "--to", library / "scan.moue")
    assert done.returncode == 1 and "No weights of these cells reach this target" in done.stderr
    assert (library / "scan.moue").exists()


def test_the_command_takes_a_sculpt_back(library: Path) -> None:
    """Accepted at level 0 from the command line; wrong input is one line and exit code 2."""
    done = moue("accept", library / "clock.moue", library / "library/grin.obj", "--recipe", "gone")
    assert done.returncode == 2 and done.stderr.count("\n") == 1 and "no recipe is named 'gone'" in done.stderr
    project = open_document(library / "clock.moue")
    save_document(project.with_(recipes=(Recipe("planted", PLANTED),)), library / "clock.moue")
    done = moue("accept", library / "clock.moue", library / "library/grin.obj", "--recipe", "planted")
    assert done.returncode == 0, done.stderr
    assert "became the corrective 'planted_fix'" in done.stdout
    evaluated = EvaluatedDocument.open(open_document(library / "clock.moue"))
    limit = 1e-5 * evaluated.head.diagonal
    np.testing.assert_allclose(
        evaluated.pose(evaluated.project.recipe("planted")), straight_head().target("grin"), atol=limit
    )
