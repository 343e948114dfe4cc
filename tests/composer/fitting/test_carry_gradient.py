"""Gradient transfer against deformations whose gradient is known in closed form, and the size of two heads."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.fitting.carry_gradient import GradientTransfer
from composer.fitting.frames import local_frames, similarity_between
from composer.geometry.surface import Surface
from tests.small_heads import grid, random_rotation, torus

ROWS, COLUMNS = 7, 5
STRIP = grid(ROWS, COLUMNS)


def flat(rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """A strip in the plane z = 0 with lines at these places."""
    x, y = np.meshgrid(columns, rows)
    return np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)


def rounded(rng: np.random.Generator) -> np.ndarray:
    """(30, 3) a torus of 6 x 5 vertices, roughened."""
    a, b = np.meshgrid(np.arange(6) * 2 * np.pi / 6, np.arange(5) * 2 * np.pi / 5, indexing="ij")
    ring = np.stack([(3 + np.cos(b)) * np.cos(a), (3 + np.cos(b)) * np.sin(a), np.sin(b)], axis=-1)
    return ring.reshape(-1, 3) + rng.normal(0.0, 0.1, (30, 3))


def transferred(source: np.ndarray, pose: np.ndarray, target: np.ndarray, held: np.ndarray, polygons=STRIP):  # type: ignore[no-untyped-def]
    """The target's pose, its first vertex held where `held` (n, 3) has it."""
    hold = np.zeros(len(source))
    hold[0] = 1.0
    transfer = GradientTransfer(Surface(polygons, source), Surface(polygons, target), 1.0, hold)
    return target + transfer(pose - source, held - target)


def test_a_bent_strip_bends_another_strip_by_the_same_angles() -> None:
    """Rows turn by theta_i about x: the next line of a strip lies at the last one plus the turned row."""
    turns = Rotation.from_euler("x", np.linspace(5, 70, ROWS - 1)[:, None], degrees=True)

    def bent(strip: np.ndarray) -> np.ndarray:
        lines = strip.reshape(ROWS, COLUMNS, 3)
        steps = [turn.apply(b - a) for turn, a, b in zip(turns, lines[:-1], lines[1:], strict=True)]
        return np.concatenate([lines[:1], lines[0] + np.cumsum(steps, axis=0)]).reshape(-1, 3)

    source = flat(np.arange(ROWS) * 1.0, np.arange(COLUMNS) * 1.0)
    target = flat(np.cumsum([0, 2, 0.5, 1, 3, 1, 0.7]), np.array([0.0, 0.4, 2.0, 2.2, 5.0]))
    np.testing.assert_allclose(transferred(source, bent(source), target, bent(target)), bent(target), atol=1e-9)


def test_a_stretch_in_the_plane_stretches_another_plane() -> None:
    linear = np.array([[1.4, 0.3, 0.0], [-0.2, 0.8, 0.0], [0.0, 0.0, 1.0]])
    source = flat(np.arange(ROWS) * 1.0, np.arange(COLUMNS) * 1.0)
    target = flat(np.cumsum([0, 2, 0.5, 1, 3, 1, 0.7]), np.array([0.0, 0.4, 2.0, 2.2, 5.0]))
    target[:, 0] += 0.3 * np.sin(target[:, 1])
    want = target @ linear.T
    np.testing.assert_allclose(transferred(source, source @ linear.T, target, want), want, atol=1e-9)


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=20, deadline=None)
def test_a_turn_and_a_growth_of_the_whole_are_carried_as_they_are(seed: int) -> None:
    rng = np.random.default_rng(seed)
    ring = torus(6, 5)
    source, target = (rounded(rng) for _ in range(2))
    rotation, scale = random_rotation(rng), rng.uniform(0.5, 2.0)
    pose, want = scale * source @ rotation.T + rng.normal(size=3), scale * target @ rotation.T
    np.testing.assert_allclose(transferred(source, pose, target, want, ring), want, atol=1e-6)


def test_bands_twisted_against_each_other_twist_other_bands() -> None:
    """A tube in separate rings, ring i turned by theta_i about its axis: each ring of another tube does the same."""
    count, around = 4, 8
    quads = [[2 * around * r + i, 2 * around * r + (i + 1) % around, 2 * around * r + around + (i + 1) % around,
              2 * around * r + around + i] for r in range(count) for i in range(around)]  # fmt: skip
    from composer.geometry.polygons import Polygons

    polygons = Polygons.from_faces(quads, 2 * around * count)
    turn = np.tile(np.arange(around) * 2 * np.pi / around, 2 * count)
    ring = np.repeat(np.arange(2 * count), around)

    def tube(radius: np.ndarray, height: float) -> np.ndarray:
        return np.stack([radius[ring] * np.cos(turn), radius[ring] * np.sin(turn), height * ring], axis=1)

    def twisted(points: np.ndarray) -> np.ndarray:
        return Rotation.from_euler("z", 25.0 * (ring // 2)[:, None], degrees=True).apply(points)

    source, target = tube(np.ones(2 * count), 1.0), tube(np.linspace(1.0, 2.0, 2 * count), 0.6)
    hold = np.where(turn == 0.0, 1.0, 0.0)
    transfer = GradientTransfer(Surface(polygons, source), Surface(polygons, target), 1.0, hold)
    moved = transfer(twisted(source) - source, twisted(target) - target)
    np.testing.assert_allclose(target + moved, twisted(target), atol=1e-9)


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=20, deadline=None)
def test_the_similarity_back_is_the_inverse(seed: int) -> None:
    rng = np.random.default_rng(seed)
    source, target = rng.normal(size=(9, 3)), rng.normal(size=(9, 3))
    there, back = similarity_between(source, target), similarity_between(target, source)
    np.testing.assert_allclose(back(there(source)), source, atol=1e-9)
    assert there.scale * back.scale == pytest.approx(1.0)
    exact = similarity_between(source, 3.0 * source @ (turn := random_rotation(rng)).T + 1.0)
    np.testing.assert_allclose(exact.rotation, turn, atol=1e-9)
    np.testing.assert_allclose(exact(source), 3.0 * source @ turn.T + 1.0, atol=1e-9)


def test_the_rotation_of_the_similarity_is_scipys() -> None:
    rng = np.random.default_rng(2)
    source, target, weight = rng.normal(size=(12, 3)), rng.normal(size=(12, 3)), rng.random(12)
    share = weight / weight.sum()
    theirs = Rotation.align_vectors(target - share @ target, source - share @ source, weights=weight)[0]
    np.testing.assert_allclose(similarity_between(source, target, weight).rotation, theirs.as_matrix(), atol=1e-8)


def test_frames_of_a_head_that_was_turned_and_scaled_are_that_turn_and_scale() -> None:
    rng = np.random.default_rng(3)
    ring = torus(6, 5)
    source, turn = rng.normal(size=(30, 3)), random_rotation(rng)
    rotation, scale = local_frames(Surface(ring, source), Surface(ring, 2.5 * source @ turn.T), 0.3)
    np.testing.assert_allclose(rotation, np.broadcast_to(turn, rotation.shape), atol=1e-9)
    np.testing.assert_allclose(scale, 2.5, atol=1e-9)
