"""What lies under the pointer: both ways agree, and the point lies on the ray and in its polygon."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part
from composer.viewer.render.picking import Hit, Picker
from tests.masks.surfaces import sphere
from tests.small_heads import polygon_meshes, random_head


def checked(hit: Hit, head: Head, positions: np.ndarray, origin: np.ndarray, direction: np.ndarray) -> None:
    unit = direction / np.linalg.norm(direction)
    assert hit.bary.sum() == pytest.approx(1.0) and (hit.bary >= 0).all()
    assert hit.corners.tolist() == head.polygons.face(hit.polygon).tolist()
    assert hit.point == pytest.approx(hit.bary @ positions[hit.corners], abs=1e-6)
    assert hit.point == pytest.approx(origin + hit.distance * unit, abs=1e-3)
    assert np.linalg.norm(hit.normal) == pytest.approx(1.0)


@given(polygon_meshes(), st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_both_ways_agree(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, polygons, 0)
    positions = head.neutral.astype(np.float32)
    picker = Picker(head)
    frozen = picker.freeze(positions)
    for _ in range(6):
        origin = 400.0 * rng.normal(size=3)
        direction = positions[rng.integers(head.n_vertices)] + 30 * rng.normal(size=3) - origin
        one, two = picker.pick(positions, origin, direction), frozen.pick(origin, direction)
        if one is None or two is None:
            least = min(hit.bary[hit.bary > 0].min() for hit in (one, two) if hit) if one or two else 0.0
            assert least < 1e-3  # only a ray through the very edge may be told apart
            continue
        checked(one, head, positions, origin, direction)
        checked(two, head, positions, origin, direction)
        assert one.distance == pytest.approx(two.distance, abs=0.02)


def test_a_ball_is_hit_where_it_should_be() -> None:
    ball = sphere(4, 10.0)
    head = Head("ball", ball.polygons, ball.positions.copy())
    hit = Picker(head).pick(ball.positions, (3.0, 2.0, 50.0), (0.0, 0.0, -2.0))
    assert hit is not None and hit.part == "skin"
    assert hit.point == pytest.approx((3.0, 2.0, np.sqrt(100 - 13)), abs=0.05)
    assert hit.normal == pytest.approx(hit.point / 10.0, abs=0.1)
    assert Picker(head).pick(ball.positions, (3.0, 2.0, 50.0), (0.0, 0.0, 1.0)) is None
    assert Picker(head).pick(ball.positions, (30.0, 2.0, 50.0), (0.0, 0.0, -1.0)) is None


def two_plates() -> Head:
    polygons = Polygons.from_faces([[0, 1, 2, 3], [4, 5, 6, 7]], 8)
    square = np.array([[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0]], dtype=float)
    return Head("plates", polygons, np.concatenate([square, square + (0, 0, 5)]), parts=(Part("lid", np.arange(4, 8)),))


def test_parts_are_named_and_hidden_ones_let_rays_through() -> None:
    head = two_plates()
    picker, ray = Picker(head), ((1.0, 2.0, 20.0), (0.0, 0.0, -1.0))
    front = picker.pick(head.neutral, *ray)
    behind = picker.pick(head.neutral, *ray, frozenset({"lid"}))
    assert front is not None and (front.part, front.polygon, front.distance) == ("lid", 1, pytest.approx(15.0))
    assert behind is not None and (behind.part, behind.polygon, behind.distance) == ("skin", 0, pytest.approx(20.0))
    assert picker.pick(head.neutral, *ray, frozenset({"lid", "skin"})) is None
    frozen = picker.freeze(head.neutral, frozenset({"lid"})).pick(*ray)
    assert frozen is not None and frozen.polygon == 0
    assert picker.freeze(head.neutral, frozenset({"lid", "skin"})).pick(*ray) is None


def test_a_frozen_pose_stays_as_it_was() -> None:
    head = two_plates()
    pose = head.neutral.astype(np.float32)
    frozen = Picker(head).freeze(pose)
    pose += 100.0
    hit = frozen.pick((1.0, 2.0, 20.0), (0.0, 0.0, -1.0))
    assert hit is not None and hit.point == pytest.approx((1.0, 2.0, 5.0), abs=1e-4)
