"""A sculpt that comes back: the recipe gives it within 1e-5 of the head's size at its level, whatever came before."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.store import open_document, save_document
from composer.edits.accept import accept, save_accepted, told
from composer.edits.recipes import add_recipe, replace_recipe, set_strength
from composer.edits.sculpt import Sculpt, read_sculpt
from composer.errors import MoueError
from composer.formats.mesh import Mesh, mesh_of
from composer.formats.registry import read_mesh, write_mesh
from composer.geometry.polygons import Polygons
from composer.head import levels as level_module
from composer.head.head import Shape
from composer.head.levels import levels, refine
from composer.head.nearest_cage import nearest_cage
from composer.mixing.recipe import Cell, Recipe
from tests.composer.document.small_document import small_head, small_project
from tests.small_heads import polygon_meshes

HEAD = small_head()
LIMIT = 1e-5 * HEAD.diagonal
seeds = st.integers(0, 2**32 - 1)


def opened() -> EvaluatedDocument:
    return EvaluatedDocument(small_project(), HEAD).again(small_project())


def bake(evaluated: EvaluatedDocument, recipe: str, level: int) -> NDArray[np.float64]:
    held = evaluated.project.recipe(recipe)
    return EvaluatedLevel(evaluated, level).pose(held, held.strength)


def sculpted(evaluated: EvaluatedDocument, recipe: str, level: int, seed: int = 1, mm: float = 1.0) -> Sculpt:
    """The bake of a recipe, its first third pushed about."""
    rng = np.random.default_rng(seed)
    points = bake(evaluated, recipe, level).copy()
    points[: len(points) // 3] += mm * rng.normal(size=(len(points) // 3, 3))
    return Sculpt(Path(f"{recipe}.obj"), level, points)


@given(polygon_meshes(), seeds, st.integers(0, 2))
@settings(deadline=None, max_examples=30)
def test_the_nearest_cage_is_the_least_squares_one(polygons: Polygons, seed: int, k: int) -> None:
    """numpy.linalg.lstsq on the dense subdivision, made by subdividing the columns of the identity."""
    values = np.random.default_rng(seed)
    steps = levels(polygons, k)
    whole = refine(np.eye(polygons.n_vertices), steps)
    fine = values.normal(size=(len(whole), 3))
    used = np.unique(polygons.indices)
    best = np.linalg.lstsq(whole, fine, rcond=None)[0]
    found = nearest_cage(fine, steps)
    np.testing.assert_allclose(whole @ found, whole @ best, atol=1e-6)
    np.testing.assert_allclose(nearest_cage(refine(best, steps), steps)[used], best[used], atol=1e-6)


@pytest.mark.parametrize("level", [0, 1, 2])
@pytest.mark.parametrize("recipe", ["doubt", "call"])
def test_the_recipe_then_gives_the_sculpt(recipe: str, level: int) -> None:
    evaluated = opened()
    sculpt = sculpted(evaluated, recipe, level)
    done = accept(evaluated, recipe, sculpt)
    assert done.corrective and done.shape == f"{recipe}_fix" and done.left_mm < LIMIT
    assert np.abs(bake(done.evaluated, recipe, level) - sculpt.positions).max() < LIMIT
    assert done.evaluated.corrective_weights(done.project.recipe(recipe)) == {f"{recipe}_fix": 1.0}
    other = "call" if recipe == "doubt" else "doubt"
    np.testing.assert_array_equal(bake(done.evaluated, other, level), bake(evaluated, other, level))
    np.testing.assert_array_equal(done.before, bake(evaluated, recipe, level))


@pytest.mark.parametrize("level", [0, 1])
def test_a_seamless_recipe_gives_its_sculpt_too(level: int) -> None:
    project = small_project()
    seamless = replace_recipe(project, "doubt", project.recipe("doubt").with_(join="seamless"))
    evaluated = EvaluatedDocument(seamless, HEAD).again(seamless)
    sculpt = sculpted(evaluated, "doubt", level)
    done = accept(evaluated, "doubt", sculpt).evaluated
    assert np.abs(bake(done, "doubt", level) - sculpt.positions).max() < LIMIT


@pytest.mark.parametrize("level", [0, 1])
def test_as_a_shape_it_stands_alone(level: int) -> None:
    evaluated = opened()
    sculpt = sculpted(evaluated, "doubt", level)
    done = accept(evaluated, "doubt", sculpt, as_shape="tide")
    assert not done.corrective and done.recipe == "tide" and not done.project.correctives
    assert np.abs(bake(done.evaluated, "tide", level) - sculpt.positions).max() < LIMIT
    np.testing.assert_array_equal(bake(done.evaluated, "doubt", level), bake(evaluated, "doubt", level))
    with pytest.raises(MoueError, match="named 'tide' is there already"):
        accept(done.evaluated, "doubt", sculpt, as_shape="tide")


def test_fixes_that_overlap_all_return_at_their_own_poses() -> None:
    """Two recipes that share cells, one fixed at level 0 and one at level 1."""
    more = Recipe("more", (Cell("all", "lift", 0.3), Cell("brow_left", "au1_left", 0.9), Cell("all", "skew", 0.2)))
    half = Recipe("half", (Cell("all", "lift", 0.2), Cell("brow_left", "au1_left", 0.5)), strength=0.6)
    project = add_recipe(add_recipe(small_project(), more), half)
    evaluated = EvaluatedDocument(project, HEAD).again(project)
    sculpts = {}
    for seed, (name, level) in enumerate((("more", 1), ("half", 0), ("doubt", 1))):
        sculpts[name] = sculpted(evaluated, name, level, seed)
        evaluated = accept(evaluated, name, sculpts[name]).evaluated
    assert len(evaluated.project.correctives) == 3
    for name, sculpt in sculpts.items():
        assert np.abs(bake(evaluated, name, sculpt.level) - sculpt.positions).max() < LIMIT


def test_a_second_sculpt_of_a_recipe_takes_the_place_of_the_first() -> None:
    evaluated = opened()
    first = accept(evaluated, "doubt", sculpted(evaluated, "doubt", 1)).evaluated
    again = sculpted(first, "doubt", 1, seed=2)
    second = accept(first, "doubt", again)
    assert len(second.project.correctives) == 1 and second.shape == "doubt_fix"
    assert np.abs(bake(second.evaluated, "doubt", 1) - again.positions).max() < LIMIT
    coarse = sculpted(second.evaluated, "doubt", 0, seed=3)
    third = accept(second.evaluated, "doubt", coarse)
    assert np.abs(bake(third.evaluated, "doubt", 0) - coarse.positions).max() < LIMIT
    assert "detail" in third.project.shapes["doubt_fix"]


def test_detail_follows_the_weight_and_shows_at_finer_levels() -> None:
    evaluated = opened()
    sculpt = sculpted(evaluated, "doubt", 1)
    done = accept(evaluated, "doubt", sculpt)
    lifted = refine(sculpt.positions, levels(levels(HEAD.polygons, 1)[0].polygons, 1))
    assert np.abs(bake(done.evaluated, "doubt", 2) - lifted).max() < LIMIT
    none = done.project.recipe("doubt").with_(cells=())
    one, other = (EvaluatedLevel(each, 1).pose(none, 1.0) for each in (done.evaluated, evaluated))
    np.testing.assert_array_equal(one, other)


def test_a_mirrored_cell_has_the_mirror_image_of_the_detail() -> None:
    evaluated = opened()
    done = accept(evaluated, "doubt", sculpted(evaluated, "doubt", 1), as_shape="tide").evaluated
    fine = levels(HEAD.polygons, 1)[0].permutation(done.mirror_map.partner)
    flipped = add_recipe(done.project, Recipe("flipped", (Cell("all", "tide", 1.0, True),)))
    done = done.again(flipped)
    there, rest = bake(done, "tide", 1), EvaluatedLevel(done, 1).head.neutral
    expected = rest + (there - rest)[fine] * [-1.0, 1.0, 1.0]
    np.testing.assert_allclose(bake(done, "flipped", 1), expected, atol=LIMIT)


@pytest.mark.parametrize("name", ["clock.moue", "document.toml"])
def test_saved_and_opened_it_is_the_same(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    project = save_document(small_project(path), path)
    evaluated = EvaluatedDocument(project, HEAD)
    done = accept(evaluated, "doubt", sculpted(evaluated, "doubt", 1))
    files = save_accepted(done, path)
    assert [f.name for f in files] == [name, "doubt_1.obj", "doubt_1.txt"]
    again = EvaluatedDocument(open_document(path), HEAD)
    np.testing.assert_array_equal(bake(again, "doubt", 1), bake(done.evaluated, "doubt", 1))
    was = read_mesh(files[1]).positions
    np.testing.assert_allclose(was, bake(evaluated, "doubt", 1), atol=LIMIT)
    assert "became the corrective 'doubt_fix'" in files[2].read_text()
    second = accept(again, "doubt", sculpted(again, "doubt", 0, seed=2))
    assert [f.name for f in save_accepted(second, path)][1:] == ["doubt_2.obj", "doubt_2.txt"]
    np.testing.assert_array_equal(read_mesh(files[1]).positions, was)


def test_the_table_tells_what_moved() -> None:
    evaluated = opened()
    points = bake(evaluated, "doubt", 0).copy()
    points[4] += [0.0, 3.0, 4.0]
    done = accept(evaluated, "doubt", Sculpt(Path("doubt.obj"), 0, points))
    whole = done.moved[0]
    assert (whole.region, whole.vertices) == ("all", 1) and whole.most_mm == pytest.approx(5.0)
    assert any("5.000" in line for line in told(done))
    fix = done.evaluated.head.shape("doubt_fix").delta
    assert np.flatnonzero(fix.any(axis=1)).tolist() == [4]


@pytest.mark.parametrize("suffix", [".obj", ".ply", ".npz", ".glb"])
def test_it_comes_back_in_any_format(tmp_path: Path, suffix: str) -> None:
    """With the rounding of the file: PLY and GLB hold float32."""
    evaluated = opened()
    sculpt = sculpted(evaluated, "doubt", 1)
    file = tmp_path / f"doubt{suffix}"
    write_mesh(file, mesh_of(EvaluatedLevel(evaluated, 1).head, sculpt.positions))
    read = read_sculpt(HEAD, file, name="doubt")
    assert read.level == 1
    done = accept(evaluated, "doubt", read)
    assert np.abs(bake(done.evaluated, "doubt", 1) - sculpt.positions).max() < LIMIT


def test_one_of_many_shapes_is_found_by_the_recipes_name(tmp_path: Path) -> None:
    evaluated = opened()
    sculpt = sculpted(evaluated, "doubt", 0)
    shapes = tuple(Shape(n, (p - HEAD.neutral).astype(np.float32))
                   for n, p in (("call", bake(evaluated, "call", 0)), ("doubt", sculpt.positions)))  # fmt: skip
    write_mesh(tmp_path / "clock.npz", mesh_of(HEAD.with_(shapes=shapes), shapes=True))
    read = read_sculpt(HEAD, tmp_path / "clock.npz", name="doubt")
    np.testing.assert_allclose(read.positions, sculpt.positions, atol=LIMIT)
    with pytest.raises(MoueError, match="holds 2 shapes, none named 'wait'"):
        read_sculpt(HEAD, tmp_path / "clock.npz", name="wait")


def _file(folder: Path, points: NDArray, polygons: Polygons) -> Path:
    write_mesh(folder / "doubt.obj", Mesh(polygons, points))
    return folder / "doubt.obj"


def test_another_order_is_named_with_its_mend(tmp_path: Path) -> None:
    evaluated = opened()
    order = np.random.default_rng(2).permutation(HEAD.n_vertices)
    back = np.argsort(order)
    shuffled = Polygons(HEAD.polygons.counts, back[HEAD.polygons.indices], HEAD.n_vertices)
    with pytest.raises(MoueError, match="baked in a sample's order"):
        read_sculpt(HEAD, _file(tmp_path, bake(evaluated, "doubt", 0)[order], shuffled))
    same = read_sculpt(HEAD, _file(tmp_path, bake(evaluated, "doubt", 0)[order], HEAD.polygons))
    with pytest.raises(MoueError, match="same polygons over vertices in another order; export it"):
        accept(evaluated, "doubt", same)


def test_another_level_or_head_is_named(tmp_path: Path) -> None:
    file = _file(tmp_path, HEAD.neutral, HEAD.polygons)
    with pytest.raises(MoueError, match="has 63 vertices, level 1 has 221"):
        read_sculpt(HEAD, file, level=1)
    fewer = Polygons.from_faces([[0, 1, 2, 3]], 4)
    with pytest.raises(MoueError, match="4 vertices, which is no level of this head"):
        read_sculpt(HEAD, _file(tmp_path, HEAD.neutral[:4], fewer))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: p / 10.0, "0.1 times as large.*say --unit cm"),
        (lambda p: p * 1.05, r"as a whole .*1\.050 times"),
        (lambda p: p * 1.7, "1.7 times as large.*scale it back"),
        (lambda p: p + [0.0, 9.0, 0.0], "as a whole .9.0 mm"),
        (lambda p: p, "nothing moved"),
    ],
)
def test_another_scale_or_place_is_named(change: object, words: str) -> None:
    evaluated = opened()
    sculpt = Sculpt(Path("doubt.obj"), 0, change(bake(evaluated, "doubt", 0)))  # type: ignore[operator]
    with pytest.raises(MoueError, match=words) as told_:
        accept(evaluated, "doubt", sculpt)
    assert str(told_.value).startswith("doubt.obj: ")


def test_what_no_cell_could_bring_in_is_refused() -> None:
    evaluated = opened()
    with pytest.raises(MoueError, match="moves nothing.*--as-shape"):
        accept(evaluated, "wait", sculpted(evaluated, "wait", 0))
    still = evaluated.again(set_strength(evaluated.project, "doubt", 0.0))
    with pytest.raises(MoueError, match="strength 0"):
        accept(still, "doubt", sculpted(still, "doubt", 0))
    with pytest.raises(MoueError, match="no recipe is named 'double'"):
        accept(evaluated, "double", sculpted(evaluated, "doubt", 0))


def test_a_vertex_that_is_no_number_is_named(tmp_path: Path) -> None:
    file = _file(tmp_path, HEAD.neutral, HEAD.polygons)
    file.write_text(file.read_text().replace("v ", "v nan ", 1))
    with pytest.raises(MoueError, match="doubt.obj:.* not a number: nan"):
        read_sculpt(HEAD, file)


@pytest.mark.parametrize("as_shape", [None, "gasp"])
def test_a_sculpt_of_level_2_takes_two_factors_of_subdivision(
    monkeypatch: pytest.MonkeyPatch, as_shape: str | None
) -> None:  # fmt: skip
    made: list[int] = []
    plain = level_module.factor
    monkeypatch.setattr(level_module, "factor", lambda mesh, *kind: made.append(mesh.n_vertices) or plain(mesh, *kind))
    evaluated = opened()
    sculpt = replace(sculpted(evaluated, "doubt", 2), steps=levels(HEAD.polygons, 2))
    made.clear()
    accept(evaluated, "doubt", sculpt, as_shape)
    assert made == [level.coarse.n_vertices for level in sculpt.steps or []]
