"""Single terms about a fitted head: landmarks found on the sculpt, what it wears, free zones, the landmarks' warp."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from composer.fitting.align import Pairs
from composer.fitting.carry_head import carried_landmarks, dressed
from composer.fitting.closest import ClosestSurface
from composer.fitting.fitted_landmarks import OFF, found_landmarks
from composer.fitting.warp import warp
from composer.fitting.zones import free_zones
from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks, SurfacePoint
from tests.small_heads import grid

SIDE = 5


def sheet(size: float = 1.0) -> np.ndarray:
    y, x = np.meshgrid(np.arange(float(SIDE)), np.arange(float(SIDE)), indexing="ij")
    return size * np.stack([x.ravel(), y.ravel(), 0.0 * x.ravel()], axis=1)


@pytest.mark.parametrize("size", [0.1, 100.0])
def test_landmarks_are_found_where_the_sculpt_has_something(size: float) -> None:
    marks = Landmarks({"near": 6, "far": 12, "placed": 7})
    head = Head("sheet", grid(SIDE, SIDE), sheet(size), landmarks=marks)
    diagonal = size * 4 * np.sqrt(2)
    cage = head.neutral.copy()
    cage[6, 2], cage[12, 2] = 0.9 * OFF * diagonal, 1.5 * OFF * diagonal
    found = found_landmarks(head, cage, ClosestSurface(sheet(size), head.polygons.triangles), {"placed": 7})
    assert list(found) == ["near"]
    near = found["near"]
    place = np.array(near.bary) @ sheet(size)[list(near.triangle)]
    np.testing.assert_allclose(place, sheet(size)[6], atol=1e-9 * size)


def test_what_the_fitted_head_has_none_of_is_the_old_one_s() -> None:
    polygons = grid(SIDE, SIDE)
    groups = {"face": np.arange(4)}
    materials, marks = {"skin": np.arange(16)}, Landmarks({"a": 3})
    old = Head("old", polygons, sheet(), groups=groups, materials=materials, landmarks=marks)
    bare = dressed(old, Head("new", polygons, 2 * sheet()))
    assert list(bare.groups) == ["face"] and list(bare.materials) == ["skin"]
    own = dressed(old, Head("new", polygons, 2 * sheet(), groups={"x": np.arange(2)}, materials={"y": np.arange(3)}))
    assert list(own.groups) == ["x"] and list(own.materials) == ["y"]
    assert own.landmarks is not None and own.landmarks.points["a"] == 3
    np.testing.assert_array_equal(own.neutral, 2 * sheet())


def test_landmarks_given_by_places_become_places_of_the_skin_and_not_of_a_part() -> None:
    # A part's triangle, and one that hangs between it and the skin, lie nearer to the landmark than the skin does.
    polygons = Polygons.from_faces([[0, 1, 2], [3, 4, 5], [0, 4, 5]], 6)
    places = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 1], [4, 0, 1], [0, 4, 1]])
    head = Head("two", polygons, places, parts=(Part("teeth", np.array([3, 4, 5])),))
    point = carried_landmarks(Landmarks({"a": (1.0, 1.0, 1.1)}), head).points["a"]
    assert isinstance(point, SurfacePoint) and sorted(point.triangle) == [0, 1, 2]
    np.testing.assert_allclose(np.array(point.bary) @ places[list(point.triangle)], [1.0, 1.0, 0.0], atol=1e-9)


def test_a_painted_free_mask_is_added_and_must_be_numbers() -> None:
    head = Head("sheet", grid(SIDE, SIDE), sheet(), groups={"inside": np.array([0])})
    painted = np.linspace(-0.5, 1.5, 25)
    free, _ = free_zones(head, groups=(), mask=painted)
    np.testing.assert_allclose(free, np.clip(painted, 0.0, 1.0))
    for bad in (np.full(25, np.nan), np.where(np.arange(25) == 3, np.inf, 0.0), np.zeros(24)):
        with pytest.raises(MoueError, match="must be 25 numbers"):
            free_zones(head, groups=(), mask=bad)
    with pytest.raises(MoueError, match="nothing"):
        free_zones(head, groups=("nothing",))


@pytest.mark.parametrize("size", [0.1, 10.0])
def test_the_landmarks_warp_goes_through_them_and_grows_with_the_head(size: float) -> None:
    rng = np.random.default_rng(2)
    head, off = rng.uniform(-1, 1, (4, 3)), 0.1 * rng.normal(size=(4, 3))  # too few for the cubic basis
    probe = rng.uniform(-1, 1, (5, 3))

    def through(by: float, points: np.ndarray) -> np.ndarray:
        pairs = Pairs(tuple("abcd"), by * head, by * (head + off), np.full(4, -1), {})
        return warp(pairs, np.zeros((0, 3)), by * 3.0)[0](by * points)

    np.testing.assert_allclose(through(size, head), size * (head + off), atol=1e-9 * size)
    np.testing.assert_allclose(through(size, probe), size * through(1.0, probe), atol=1e-9 * size)
    assert np.abs(through(1.0, probe) - probe).max() > 0.01
