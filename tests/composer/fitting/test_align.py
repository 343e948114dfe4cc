"""The similarity of landmark pairs, and the words for pairs that make no sense."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.bench.cube_sphere import cube_sphere
from composer.errors import MoueError
from composer.fitting.align import Pairs, check_pairs, similarity
from composer.fitting.closest import ClosestSurface
from composer.head.head import Head

NAMES = ("pronasale", "eye_left", "eye_right", "ear_left", "ear_right", "gnathion", "vertex", "opisthocranion")


def a_head() -> Head:
    polygons, positions = cube_sphere(10)
    return Head("ball", polygons, positions * (0.8, 1.1, 1.0))


def pairs_of(head: Head, move=lambda p: p) -> Pairs:
    wanted = np.array(
        [[0, 0, 1], [0.4, 0.4, 0.8], [-0.4, 0.4, 0.8], [1, 0, 0], [-1, 0, 0], [0, -0.7, 0.7], [0, 1, 0], [0, 0, -1]]
    )
    directions = head.neutral / np.linalg.norm(head.neutral, axis=1, keepdims=True)
    ids = (wanted @ directions.T).argmax(axis=1).astype(np.int64)
    places = head.neutral[ids]
    return Pairs(NAMES, places, move(places), ids, {})


def sculpt_of(head: Head, move=lambda p: p) -> ClosestSurface:
    return ClosestSurface(move(head.neutral), head.polygons.triangles)


@given(st.integers(0, 2**32 - 1), st.floats(0.05, 20.0), st.integers(3, 30))
@settings(max_examples=40, deadline=None)
def test_a_planted_similarity_comes_back(seed: int, scale: float, count: int) -> None:
    lot = np.random.default_rng(seed)
    points = lot.normal(size=(count, 3))
    rotation, shift = Rotation.random(random_state=seed % 2**31).as_matrix(), lot.normal(size=3)
    found = similarity(points, scale * points @ rotation.T + shift)
    assert np.allclose(found.rotation, rotation, atol=1e-6)
    assert np.isclose(found.scale, scale, rtol=1e-8)
    assert np.allclose(found.inverse()(found(points)), points, atol=1e-9)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=30, deadline=None)
def test_the_rotation_is_that_of_scipy_s_align_vectors(seed: int) -> None:
    """Umeyama's rotation does not depend on the scale, so Kabsch's, as scipy has it, must agree."""
    lot = np.random.default_rng(seed)
    x, y, w = lot.normal(size=(12, 3)), lot.normal(size=(12, 3)), lot.uniform(0.1, 1, 12)
    a, b = x - w @ x / w.sum(), y - w @ y / w.sum()
    expected = Rotation.align_vectors(b, a, weights=w)[0].as_matrix()
    assert np.allclose(similarity(x, y, w).rotation, expected, atol=1e-6)


def test_two_pairs_are_too_few() -> None:
    with pytest.raises(MoueError, match="2 pairs"):
        similarity(np.eye(3)[:2], np.eye(3)[:2])


def test_a_line_is_refused() -> None:
    line = np.arange(5.0)[:, None] * np.array([[1.0, 2.0, 3.0]])
    with pytest.raises(MoueError, match="one line"):
        similarity(line, np.random.default_rng(0).normal(size=(5, 3)))


def test_good_pairs_pass() -> None:
    head = a_head()
    move, notes = check_pairs(pairs_of(head), head, sculpt_of(head))
    assert np.isclose(move.scale, 1.0) and notes == []


def test_left_and_right_swapped_are_named() -> None:
    head = a_head()
    pairs = pairs_of(head)
    swapped = Pairs(NAMES, pairs.head, pairs.sculpt[[0, 2, 1, 4, 3, 5, 6, 7]], pairs.vertices, {})
    with pytest.raises(MoueError, match="left and right are swapped"):
        check_pairs(swapped, head, sculpt_of(head))


def test_one_swapped_pair_is_named() -> None:
    head = a_head()
    pairs = pairs_of(head)
    swapped = Pairs(NAMES, pairs.head, pairs.sculpt[[0, 1, 2, 4, 3, 5, 6, 7]], pairs.vertices, {})
    with pytest.raises(MoueError, match="ear_left and ear_right"):
        check_pairs(swapped, head, sculpt_of(head))


@pytest.mark.parametrize("factor", [0.001, 0.01, 0.1, 10.0, 100.0, 1000.0])
def test_a_wrong_unit_is_told_by_its_factor(factor: float) -> None:
    head = a_head()
    words = f"{max(factor, 1 / factor):g} times {'larger' if factor > 1 else 'smaller'}"
    with pytest.raises(MoueError, match=words):
        check_pairs(pairs_of(head, lambda p: p * factor), head, sculpt_of(head, lambda p: p * factor))


def test_landmarks_in_another_unit_than_their_sculpt_are_told() -> None:
    head = a_head()
    with pytest.raises(MoueError, match="100 times"):
        check_pairs(pairs_of(head, lambda p: p * 0.01), head, sculpt_of(head))


def test_a_landmark_far_from_the_sculpt_is_named() -> None:
    head = a_head()
    pairs = pairs_of(head)
    places = pairs.sculpt.copy()
    places[0] += (0.0, 0.0, 60.0)
    with pytest.raises(MoueError, match="pronasale"):
        check_pairs(Pairs(NAMES, pairs.head, places, pairs.vertices, {}), head, sculpt_of(head))


def test_a_sculpt_inside_out_is_told() -> None:
    head = a_head()
    over = ClosestSurface(head.neutral, head.polygons.triangles[:, ::-1])
    with pytest.raises(MoueError, match="inside out"):
        check_pairs(pairs_of(head), head, over)
