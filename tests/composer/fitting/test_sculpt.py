"""Bad sculpts: what is dropped is counted and told, what cannot be used is one line."""

from __future__ import annotations

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.errors import MoueError
from composer.fitting.sculpt import clean_sculpt, coarser
from composer.geometry.polygons import Polygons


def ball(radius: float, at: tuple[float, float, float] = (0, 0, 0), side: int = 8) -> tuple[np.ndarray, np.ndarray]:
    polygons, positions = cube_sphere(side)
    positions = positions / np.linalg.norm(positions, axis=1, keepdims=True)
    return radius * positions + at, polygons.triangles


def head() -> tuple[np.ndarray, np.ndarray]:
    points, triangles = ball(100.0, side=12)
    return points * (0.7, 1.2, 0.9), triangles


def joined(*meshes: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, Polygons]:
    points, triangles, start = [], [], 0
    for p, t in meshes:
        points.append(p)
        triangles.append(t + start)
        start += len(p)
    flat = np.concatenate(triangles)
    return np.concatenate(points), Polygons(np.full(len(flat), 3), flat.ravel(), start)


def test_a_clean_sculpt_is_left_as_it_is() -> None:
    points, polygons = joined(head())
    clean = clean_sculpt(points, polygons)
    assert clean.dropped == {} and np.array_equal(clean.surface.triangles, polygons.triangles)


def test_nan_flat_and_double_triangles_are_dropped_and_counted() -> None:
    points, triangles = head()
    bad = np.concatenate([triangles, triangles[:3][:, [1, 2, 0]], [[0, 0, 1], [4, 5, len(points)]]])
    points = np.concatenate([points, [[np.nan, 0, 0]]])
    clean = clean_sculpt(points, Polygons(np.full(len(bad), 3), bad.ravel(), len(points)))
    assert clean.dropped == {"with a vertex that is not a number": 1, "without area": 1, "that were there twice": 3}
    assert len(clean.surface.triangles) == len(triangles) and len(clean.notes) == 3


def test_eyeballs_are_found_and_small_shells_dropped() -> None:
    points, polygons = joined(
        head(), ball(12.0, (30, 20, 60)), ball(12.0, (-30, 20, 60)), (ball(3.0)[0] * (1, 4, 0.2), ball(3.0)[1])
    )
    clean = clean_sculpt(points, polygons)
    assert sorted(round(b.radius, 1) for b in clean.balls) == [12.0, 12.0]
    assert sorted(round(b.centre[0]) for b in clean.balls) == [-30, 30]
    assert clean.dropped["in small shells"] == len(ball(3.0)[1])


def test_split_seams_are_joined() -> None:
    points, triangles = head()
    loose = Polygons(np.full(len(triangles), 3), np.arange(triangles.size), triangles.size)
    clean = clean_sculpt(points[triangles.ravel()], loose)
    assert len(clean.surface.positions) == len(points) and not clean.surface.border_vertex.any()


def test_only_eyes_are_refused() -> None:
    with pytest.raises(MoueError, match="only balls"):
        clean_sculpt(*joined(ball(12.0, (30, 0, 0)), ball(12.0, (-30, 0, 0))))


def test_nothing_usable_is_refused() -> None:
    with pytest.raises(MoueError, match="no usable face"):
        clean_sculpt(np.zeros((3, 3)), Polygons(np.array([3]), np.array([0, 1, 2]), 3))
    with pytest.raises(MoueError, match="no faces"):
        clean_sculpt(np.zeros((3, 3)), Polygons(np.array([], int), np.array([], int), 3))


def test_a_coarser_mesh_keeps_the_place() -> None:
    points, triangles = ball(100.0, side=40)
    small, fewer = coarser(points, triangles.astype(np.int64), 10.0)
    assert len(fewer) < len(triangles) / 3
    assert np.abs(np.linalg.norm(small, axis=1) - 100.0).max() < 1.0
