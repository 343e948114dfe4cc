"""Bakes in the order, the unit and by the border rule of a sample that another program has written."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from composer.document.bake import bake
from composer.document.evaluated import EvaluatedDocument
from composer.document.sample import level_with, read_sample
from composer.document.store import open_document
from composer.edits.accept import accept
from composer.edits.sculpt import OtherOrder, read_sculpt
from composer.edits.sculpt_over_sample import read_sculpt_over
from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.geometry.polygons import Polygons
from composer.head.levels import levels, refine
from composer.head.rules import RuledRefinement, ruled_levels
from tests.small_heads import CUBE, CUBE_CORNERS, grid

DOCUMENT = """moue = 1
unit = "cm"
head = "library"
[recipes.up]
cells = [ { region = "all", shape = "lift", weight = 0.5 } ]
"""


@pytest.fixture
def evaluated(tmp_path: Path) -> EvaluatedDocument:
    polygons = grid(5, 4)
    rng = np.random.default_rng(3)
    y, x = np.mgrid[0:5, 0:4].astype(float)
    rest = np.stack([5 * x, 5 * y, np.sin(2 * x + y)], axis=-1).reshape(-1, 3) + rng.uniform(-1, 1, (20, 3))
    lift = np.where(np.arange(20)[:, None] < 8, rng.normal(size=(20, 3)), 0.0)
    (tmp_path / "library").mkdir()
    write_mesh(tmp_path / "library/neutral.obj", Mesh(polygons, rest))
    write_mesh(tmp_path / "library/lift.obj", Mesh(polygons, rest + lift))
    (tmp_path / "document.toml").write_text(DOCUMENT)
    return EvaluatedDocument.open(open_document(tmp_path / "document.toml"))


def write_sample(
    path: Path, evaluated: EvaluatedDocument, k: int, corners: bool, seed: int = 0, mm: float = 1.0
) -> np.ndarray:
    """A neutral at level k in shuffled order, in a unit of `mm`; the sample's vertex of each in Moue's own order."""
    steps = ruled_levels(evaluated.head.polygons, k, True) if corners else levels(evaluated.head.polygons, k)
    made = steps[-1].polygons if k else evaluated.head.polygons
    points = refine(evaluated.head.neutral, steps) / mm
    order = np.random.default_rng(seed).permutation(made.n_vertices)
    there = np.empty_like(points)
    there[order] = points
    write_mesh(path, Mesh(Polygons(made.counts, order[made.indices], made.n_vertices), there))
    path.write_text("# from elsewhere\n" + path.read_text())
    return order


@pytest.mark.parametrize("corners", [False, True])
def test_a_bake_is_in_the_samples_order_unit_text_and_border_rule(
    evaluated: EvaluatedDocument, tmp_path: Path, corners: bool
) -> None:
    order = write_sample(tmp_path / "sample.obj", evaluated, 2, corners, mm=1000.0)
    recipe = evaluated.project.recipe("up")
    bake(evaluated, tmp_path / "out", [recipe], order_of=tmp_path / "sample.obj")
    assert (tmp_path / "out/neutral.obj").read_bytes() == (tmp_path / "sample.obj").read_bytes()
    out = read_mesh(tmp_path / "out/up.obj")
    steps = ruled_levels(evaluated.head.polygons, 2, True) if corners else levels(evaluated.head.polygons, 2)
    np.testing.assert_allclose(1000 * out.positions[order], refine(evaluated.pose(recipe), steps), atol=2e-4)
    assert (tmp_path / "out/up.obj").read_text().startswith("# from elsewhere\n")
    said = " ".join(evaluated.notes)
    assert "sample.obj is level 2, 221 vertices" in said
    assert ("corners stay sharp" if corners else "border is smooth") in said and "departs" not in said


def test_creases_of_a_level_one_sample_are_found(evaluated: EvaluatedDocument, tmp_path: Path) -> None:
    mesh = evaluated.head.polygons
    creases = np.zeros(len(mesh.edges), dtype=bool)
    creases[[mesh.edges.tolist().index(edge) for edge in ([5, 6], [6, 10], [9, 10])]] = True
    step = RuledRefinement(mesh, False, creases)
    write_mesh(tmp_path / "sample.obj", Mesh(step.polygons, step.apply(evaluated.head.neutral)))
    sample = read_sample(tmp_path / "sample.obj", evaluated.head)
    assert "3 edges are creases" in sample.notes[-1]
    assert isinstance(sample.steps[0], RuledRefinement) and np.array_equal(sample.steps[0].creases, creases)


def test_creases_are_curves_of_their_own_at_every_level() -> None:
    """On a crease the points are the cubic spline of the crease alone, as on a border: 3/4, 1/8, 1/8, and middles."""
    creases = (CUBE.edges[:, 1] - CUBE.edges[:, 0]) == 1  # the four edges along z
    creases = np.isin(np.arange(12), np.flatnonzero(creases)[:1]) | (CUBE.edges == [0, 2]).all(axis=1)
    creases |= (CUBE.edges == [1, 3]).all(axis=1) | (CUBE.edges == [2, 3]).all(axis=1)  # one face of the cube
    steps = ruled_levels(CUBE, 3, False, creases)
    points = refine(CUBE_CORNERS, steps)
    line = [CUBE_CORNERS[v] for v in (0, 1, 3, 2)]
    for _ in range(3):
        out = []
        for i, p in enumerate(line):
            before, after = line[i - 1], line[(i + 1) % len(line)]
            out += [0.75 * p + 0.125 * (before + after), 0.5 * (p + after)]
        line = out
    found = {tuple(np.round(p, 9)) for p in points}
    assert all(tuple(np.round(p, 9)) in found for p in line)
    assert steps[-1].finer_creases().sum() == 4 * 2**3


def test_a_sample_with_detail_of_its_own_keeps_it(evaluated: EvaluatedDocument, tmp_path: Path) -> None:
    order = write_sample(tmp_path / "plain.obj", evaluated, 1, False)
    mesh = read_mesh(tmp_path / "plain.obj")
    bumps = mesh.positions + np.random.default_rng(8).uniform(-0.3, 0.3, mesh.positions.shape)
    write_mesh(tmp_path / "sample.obj", Mesh(mesh.polygons, bumps))
    recipe = evaluated.project.recipe("up")
    bake(evaluated, tmp_path / "out", [recipe], order_of=tmp_path / "sample.obj")
    steps = levels(evaluated.head.polygons, 1)
    moved = refine(evaluated.pose(recipe) - evaluated.head.neutral, steps)
    out = read_mesh(tmp_path / "out/up.obj").positions
    np.testing.assert_allclose(out[order] - bumps[order], moved, atol=1e-3)
    assert "departs from subdivision by up to" in " ".join(evaluated.notes)


def test_what_is_no_sample_is_refused_in_one_line(evaluated: EvaluatedDocument, tmp_path: Path) -> None:
    write_mesh(tmp_path / "wrong.obj", Mesh(grid(6, 6), np.zeros((36, 3))))
    with pytest.raises(MoueError, match=r"no level has 36 vertices; the levels have 0: 20, 1: 63, 2: 221"):
        read_sample(tmp_path / "wrong.obj", evaluated.head)
    write_sample(tmp_path / "sample.obj", evaluated, 1, False)
    mesh = read_mesh(tmp_path / "sample.obj")
    faces = mesh.polygons.indices.reshape(-1, 4).copy()
    faces[7] = faces[7][::-1]
    write_mesh(tmp_path / "turned.obj", Mesh(Polygons(mesh.polygons.counts, faces.ravel(), 63), mesh.positions))
    with pytest.raises(MoueError, match="turned.obj: polygon .* of the reference has"):
        read_sample(tmp_path / "turned.obj", evaluated.head)
    with pytest.raises(MoueError, match="is level 1, not 2"):
        bake(evaluated, tmp_path / "out", [], order_of=tmp_path / "sample.obj", level=2)
    assert level_with(evaluated.head, 221) == 2


@pytest.mark.parametrize(("times", "said"), [(1.7, True), (1.01, True), (1.0, False)])
def test_what_moves_has_the_scale_of_the_sample(
    evaluated: EvaluatedDocument, tmp_path: Path, times: float, said: bool
) -> None:  # fmt: skip
    """A sample 1.7 times as large, turned and moved, in the head's cm: every displacement is 1.7 times as long."""
    turn = Rotation.from_euler("xyz", [20, -30, 10], degrees=True)
    write_mesh(
        tmp_path / "sample.obj",
        Mesh(evaluated.head.polygons, turn.apply(evaluated.head.neutral / 10) * times + [3.0, 4.0, 5.0]),
    )
    recipe = evaluated.project.recipe("up")
    bake(evaluated, tmp_path / "out", [recipe], order_of=tmp_path / "sample.obj")
    rest, up = (read_mesh(tmp_path / f"out/{name}.obj").positions for name in ("neutral", "up"))
    moved = (evaluated.pose(recipe) - evaluated.head.neutral) / 10
    np.testing.assert_allclose(up - rest, times * turn.apply(moved), atol=2e-5)
    assert any(f"{times} times as large as the head" in note for note in evaluated.notes) == said


@pytest.mark.parametrize(
    ("level", "corners", "mm", "times"),
    [(0, False, 10.0, 1.0), (1, False, 1.0, 1.7), (1, True, 1.0, 1.0), (2, False, 1000.0, 1.0)],
)
def test_a_sculpt_on_a_bake_over_a_sample_is_taken_back_in_the_samples_order(
    evaluated: EvaluatedDocument, tmp_path: Path, level: int, corners: bool, mm: float, times: float
) -> None:
    """Whatever the sample's order, rules, size and place: the next bake over it is what was sculpted."""
    sample = tmp_path / "sample.obj"
    write_sample(sample, evaluated, level, corners, mm=mm)
    if times != 1.0:
        turn, mesh = Rotation.from_euler("xyz", [20, -30, 10], degrees=True), read_mesh(sample)
        write_mesh(sample, Mesh(mesh.polygons, turn.apply(mesh.positions) * times + [3.0, 4.0, 5.0]))
    up = evaluated.project.recipe("up")
    bake(evaluated, tmp_path / "out", [up], order_of=sample)
    baked = read_mesh(tmp_path / "out/up.obj")
    rng = np.random.default_rng(level)
    pushed = baked.positions + np.where(rng.random((baked.n_vertices, 1)) < 0.4, rng.normal(size=(1, 3)), 0.0) / mm
    write_mesh(tmp_path / "up.obj", Mesh(baked.polygons, pushed))
    read = read_sculpt_over(evaluated, "up", tmp_path / "up.obj", sample)
    assert read.level == level
    fixed = accept(evaluated, "up", read).evaluated
    bake(fixed, tmp_path / "again", [fixed.project.recipe("up")], order_of=sample)
    size = np.linalg.norm(np.ptp(pushed, axis=0))
    assert np.abs(read_mesh(tmp_path / "again/up.obj").positions - pushed).max() < 1e-5 * size


def test_a_sculpt_that_is_not_over_its_sample_is_refused(evaluated: EvaluatedDocument, tmp_path: Path) -> None:
    write_sample(tmp_path / "sample.obj", evaluated, 1, False)
    write_sample(tmp_path / "other.obj", evaluated, 1, False, seed=5)
    write_sample(tmp_path / "finer.obj", evaluated, 2, False)
    with pytest.raises(OtherOrder, match="--order-of SAMPLE"):
        read_sculpt(evaluated.head, tmp_path / "other.obj")
    with pytest.raises(MoueError, match="other.obj.*in the order of the sample"):
        read_sculpt_over(evaluated, "up", tmp_path / "other.obj", tmp_path / "sample.obj")
    with pytest.raises(MoueError, match="has 221 vertices, the sample"):
        read_sculpt_over(evaluated, "up", tmp_path / "finer.obj", tmp_path / "sample.obj")
