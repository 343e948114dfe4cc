"""The bench's own arithmetic, with a clock that the test sets, and its surface."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from composer.bench import measure as bench
from composer.bench.cube_sphere import cube_sphere
from composer.bench.mixing_scene import mixing_scene


def told(monkeypatch: pytest.MonkeyPatch, ours: list[float], theirs: list[float]) -> tuple[Callable, Callable]:
    """Two runs whose times are what the lists say, the two warm rounds before them 1000 ms each."""
    clock = {"ours": iter([1000.0, 1000.0, *ours]), "theirs": iter([1000.0, 1000.0, *theirs])}
    monkeypatch.setattr(bench, "timed", lambda run: next(clock[run()]))
    return (lambda: "ours"), (lambda: "theirs")


def test_a_row_holds_the_medians_in_turns_and_their_ratio(monkeypatch: pytest.MonkeyPatch) -> None:
    ours, theirs = told(monkeypatch, [2.0, 4.0, 90.0], [1.0, 1.0, 1.0])
    row = bench.measure("a", ours, "b", theirs, repeats=3, most_ms=5.0, most_ratio=3.0)
    assert (row.median, row.reference_median, row.ratio) == (4.0, 1.0, 4.0)
    assert row.goal == "<= 5 ms, <= 3x" and not row.holds


def test_the_time_of_one_of_many_calls(monkeypatch: pytest.MonkeyPatch) -> None:
    ours, theirs = told(monkeypatch, [40.0, 40.0], [400.0, 400.0])
    row = bench.measure("a", ours, "b", theirs, repeats=2, calls=40, most_ratio=1 / 300)
    assert row.median == 1.0 and row.goal == ">= 300x as fast" and row.holds


def test_the_cube_sphere_is_a_closed_sphere_facing_out() -> None:
    polygons, at = cube_sphere(7, radius_mm=100.0, seed=3)
    assert polygons.n_vertices == 6 * 49 + 2 and polygons.n_faces == 6 * 49
    assert polygons.n_vertices - len(polygons.edges) + polygons.n_faces == 2  # Euler's formula
    assert (polygons.edge_use == 2).all()
    corner = at[polygons.indices.reshape(-1, 4)]
    outward = np.cross(corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1])
    assert (np.einsum("ij,ij->i", outward, corner.mean(axis=1)) > 0).all()
    assert np.array_equal(at, cube_sphere(7, radius_mm=100.0, seed=3)[1])


def test_the_scene_is_what_the_rows_say() -> None:
    mixer, recipe = mixing_scene()
    assert abs(mixer.head.n_vertices - 25_000) < 1_000
    assert (len(mixer.head.shapes), len(mixer.masks), len(recipe.cells)) == (60, 12, 40)
    assert np.sum(list(mixer.masks.values()), axis=0).max() <= 1.0 + 1e-9
