"""Bad faces of a large mesh, repaired place by place: as good as on the whole, and nothing else moves."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.fitting import bad_places
from composer.fitting.bad_places import healed, places, unfolded
from composer.fitting.closest import ClosestSurface
from composer.fitting.loops import Loops
from composer.fitting.project import project
from composer.geometry.part import part_of
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from tests.small_heads import grid

ROWS, COLUMNS = 60, 50


def sheet() -> tuple[Polygons, np.ndarray]:
    column, row = np.meshgrid(np.arange(COLUMNS), np.arange(ROWS))
    points = np.stack([column.ravel(), row.ravel(), 0.02 * (column.ravel() - 25.0) ** 2], axis=1).astype(float)
    return grid(ROWS, COLUMNS), points


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(0, ROWS * COLUMNS - 1), min_size=1, max_size=6, unique=True), st.integers(0, 6))
def test_places_cover_the_flagged_vertices_once_and_know_their_inside(seeds: list[int], rings: int) -> None:
    polygons, points = sheet()
    loops = Loops(polygons, points)
    flags = np.zeros(polygons.n_vertices, dtype=bool)
    flags[seeds] = True
    grown = loops.grown(flags, rings)
    found = list(places(polygons, grown))
    held = np.concatenate([place.vertices for place in found])
    assert sorted(held) == list(np.flatnonzero(grown))
    for place in found:
        for vertex in place.vertices[place.inside]:
            faces = np.unique(polygons.corner_face[polygons.indices == vertex])
            corners = polygons.indices[np.isin(polygons.corner_face, faces)]
            assert np.isin(corners, place.vertices).all()
        quads = place.vertices[place.polygons.indices].reshape(-1, 4)
        whole = {tuple(quad) for quad in polygons.indices.reshape(-1, 4).tolist()}
        assert {tuple(quad) for quad in quads.tolist()} <= whole


@pytest.mark.parametrize("rings", [2, 5])
def test_folds_are_gone_and_the_rest_of_the_mesh_stays_bit_for_bit(monkeypatch: pytest.MonkeyPatch, rings: int) -> None:
    polygons, points = sheet()
    rng = np.random.default_rng(4)
    torn = points.copy()
    for middle in (10 * COLUMNS + 10, 40 * COLUMNS + 30):
        torn[[middle, middle + 1]] = torn[[middle + 1, middle]] + rng.normal(0, 0.05, (2, 3))
    loops = Loops(polygons, points)
    assert loops.bad(torn).any()
    nothing = np.zeros(polygons.n_vertices, dtype=bool)
    monkeypatch.setattr(bad_places, "WHOLE", 0)
    smoothed = healed(polygons, torn, loops, points, nothing)
    mended, moved = unfolded(polygons, smoothed, loops, points, width_mm=3.0, fixed=nothing, reluctant=nothing)
    assert not loops.bad(mended).any()
    assert (mended[~moved] == smoothed[~moved]).all()
    far = ~loops.grown(loops.vertices_of(loops.bad(torn)), 14)
    assert (mended[far] == torn[far]).all()


def test_a_place_that_may_not_move_is_left_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    polygons, points = sheet()
    torn = points.copy()
    torn[[510, 511]] = torn[[511, 510]]
    monkeypatch.setattr(bad_places, "WHOLE", 0)
    everything = np.ones(polygons.n_vertices, dtype=bool)
    loops = Loops(polygons, points)
    mended, moved = unfolded(
        polygons, torn, loops, points, width_mm=3.0, fixed=everything, reluctant=np.zeros_like(everything)
    )
    assert (mended == torn).all() and not moved.any()


def test_pieces_that_stay_are_subdivided_and_the_others_settle_as_if_alone() -> None:
    """A sheet beside a protected sheet is projected just as it is without it."""
    polygons, points = sheet()
    n = polygons.n_vertices
    both = Polygons(
        np.tile(polygons.counts, 2), np.concatenate([polygons.indices, polygons.indices + n]).astype(np.int32), 2 * n
    )
    apart = np.concatenate([points, points - [0.0, 0.0, 40.0]])
    column, row = np.meshgrid(np.linspace(-5, 55, 90), np.linspace(-5, 65, 100))
    x, y = column.ravel(), row.ravel()
    target = np.stack([x, y, 0.02 * (x - 25.0) ** 2 + 0.6 + 0.2 * np.sin(0.9 * x) * np.cos(0.8 * y)], axis=1)
    sculpt = ClosestSurface(target, grid(100, 90).triangles)
    keep = np.repeat([0.0, 1.0], n)
    one = project(polygons, points, sculpt, reference=points, up_to=1, reach_mm=3.0)
    two = project(both, apart, sculpt, reference=apart, up_to=1, reach_mm=3.0, protect=keep)
    assert len(two[1].positions) == 2 * len(one[1].positions)
    vertices = Surface(both, apart).polygons.components
    assert vertices.max() == 1
    part = part_of(two[1].polygons, np.flatnonzero(two[1].polygons.components == 0))
    assert part.n_faces == one[1].polygons.n_faces
    np.testing.assert_allclose(two[1].positions[two[1].polygons.components == 0], one[1].positions, atol=1e-9)
    still = two[1].positions[two[1].polygons.components == 1]
    assert still[:, 2].max() < -20.0
    assert not two[1].rejected[two[1].polygons.components == 1].any()
