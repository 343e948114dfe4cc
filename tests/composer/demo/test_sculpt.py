"""Sculpts: dense, sound, in a topology of their own, and true to the cage's surface."""

from __future__ import annotations

import numpy as np
import pytest

from composer.demo.sculpt import build_sculpt
from composer.geometry.polygons import Polygons
from composer.head.levels import levels
from tests.composer.demo.neutral_heads import NAMES, neutral, sculpt, skin_polygons


def skin_triangles(name: str) -> np.ndarray:
    made = sculpt(name)
    triangles = made.polygons.triangles
    return triangles[(triangles < made.n_skin).all(1)]


@pytest.mark.parametrize("name", NAMES)
def test_a_sculpt_is_dense_and_sound(name: str) -> None:
    made = sculpt(name)
    triangles = skin_triangles(name)
    polygons = Polygons(np.full(len(triangles), 3), triangles.ravel(), made.n_skin)
    assert 60_000 < len(triangles) < 110_000
    assert polygons.components.max() == 0
    assert set(polygons.edge_use.tolist()) == {1, 2}
    assert polygons.n_vertices - len(polygons.edges) + polygons.n_faces == 1  # a sphere with one hole, as Euler counts
    points = made.positions[triangles]
    normal = np.cross(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0])
    smooth = made.head().surface.vertex_normals[triangles].sum(1)
    assert ((normal * smooth).sum(1) <= 0).mean() < 2e-4


@pytest.mark.parametrize("name", NAMES)
def test_its_connectivity_has_nothing_of_the_cage(name: str) -> None:
    triangles = skin_triangles(name)
    edges = np.unique(np.sort(np.concatenate([triangles[:, [i, i - 1]] for i in range(3)]), axis=1), axis=0)
    valence = np.bincount(edges.ravel())
    assert (valence == 6).mean() < 0.5
    other = sculpt(NAMES[(NAMES.index(name) + 1) % len(NAMES)])
    assert not np.array_equal(other.polygons.indices, sculpt(name).polygons.indices)


@pytest.mark.parametrize("name", NAMES)
def test_true_places_lie_on_the_cages_own_surface(name: str) -> None:
    base, made = neutral(name), sculpt(name)
    points = base.positions[: base.n_skin]
    for step in levels(skin_polygons(base), 3):
        points = step.apply(points)
    away = np.linalg.norm(made.true_positions() - points[: base.n_skin], axis=1)
    size = made.head().diagonal
    assert len(away) == base.n_skin
    # the relief itself is some 0.2 percent of the head; chords of the facets add a little
    assert away.mean() < 0.001 * size
    assert away.max() < 0.004 * size
    known = {frozenset(t) for t in skin_triangles(name).tolist()}
    assert all(frozenset(t) in known for t in made.true_triangle.tolist())
    assert np.allclose(made.true_bary.sum(1), 1) and made.true_bary.min() >= 0


def test_the_same_character_gives_the_same_sculpt() -> None:
    again = build_sculpt(neutral("keeper").character)
    assert again.positions.tobytes() == sculpt("keeper").positions.tobytes()
    assert again.polygons.same_as(sculpt("keeper").polygons)


def test_eyeballs_are_shells_of_their_own() -> None:
    made = sculpt("ferrier")
    assert [part.name for part in made.parts] == ["eye_left", "eye_right"]
    assert int(made.polygons.components.max()) == 2
    assert made.head().skin.sum() == made.n_skin
