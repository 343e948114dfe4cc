"""Few cells: a library's own shape is one cell, planted shapes come back as they were, through noise too."""

from __future__ import annotations

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.edits.match import Matcher
from composer.edits.match_few import match_few
from composer.head.head import Shape
from composer.mixing.match import Bounds
from composer.mixing.recipe import ALL, Cell, Recipe
from tests.composer.document.small_document import N, small_head
from tests.composer.edits.test_match import PLANTED, opened, three_regions, weights


def many_shapes(count: int = 24, seed: int = 3) -> EvaluatedDocument:
    """The small head with shapes that have much in common, as expressions do: each a mixture of eight movements."""
    rng = np.random.default_rng(seed)
    basis = rng.normal(size=(8, 3 * N)) * 6.0
    mixed = rng.normal(size=(count, 8)) @ basis / 8 + rng.normal(size=(count, 3 * N))
    shapes = tuple(Shape(f"s{k}", one.reshape(N, 3).astype(np.float32)) for k, one in enumerate(mixed))
    return EvaluatedDocument(three_regions(), small_head().with_(shapes=shapes, parts=()))


@pytest.mark.parametrize("name", ["s0", "s7", "s23"])
def test_a_shape_of_the_library_is_one_cell_of_the_whole_face(name: str) -> None:
    evaluated = many_shapes()
    found = match_few(evaluated, evaluated.head.target(name))
    assert weights(found.matched) == {(ALL, name): 1.0}
    assert found.whole is found.matched


@pytest.mark.parametrize("noise_mm", [0.0, 0.2])
def test_four_shapes_on_the_whole_face_come_back_as_four(noise_mm: float) -> None:
    evaluated = many_shapes()
    planted = {"s1": 0.7, "s5": 0.4, "s9": 0.25, "s20": 0.9}
    pose = evaluated.pose(Recipe("p", tuple(Cell(ALL, name, w) for name, w in planted.items())))
    target = pose + np.random.default_rng(1).normal(scale=noise_mm, size=pose.shape)
    found = match_few(evaluated, target).matched
    told = {cell.shape: cell.weight for cell in found.cells if cell.region == ALL}
    assert set(told) == set(planted) and len(found.cells) == 4
    assert all(told[name] == pytest.approx(w, abs=1e-4 if noise_mm == 0.0 else 0.05) for name, w in planted.items())


def test_regions_are_told_where_they_differ() -> None:
    evaluated = opened()
    found = match_few(evaluated, evaluated.pose(Recipe("planted", PLANTED)))
    assert weights(found.matched) == {(c.region, c.shape): c.weight for c in PLANTED}
    assert found.whole is not None and found.whole.explained < 0.9 and "regions reach 100.0 percent" in str(found.words)


def test_without_few_and_without_the_whole_face_it_is_the_law() -> None:
    evaluated = many_shapes()
    pose = evaluated.pose(Recipe("p", (Cell("upper", "s1", 0.7), Cell("lower_left", "s2", 0.3))))
    plain = Matcher(evaluated).solve(pose)
    found = match_few(evaluated, pose, bounds=Bounds(), whole=False).matched
    assert [(c.key, c.weight) for c in found.cells] == [(c.key, c.weight) for c in plain.cells]


def test_only_some_cells_get_weights() -> None:
    evaluated = opened()
    only = {("upper", "surprise", False), ("lower_left", "grin", False)}
    found = Matcher(evaluated).solve(evaluated.pose(Recipe("planted", PLANTED)), only=only)
    assert {cell.key for cell in found.cells} <= only and len(found.cells) == 2
