"""Many nearest rotations at once: what scipy's alignment finds one by one, for every kind of matrix."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.geometry.nearest_turn import FEW, nearest_turns
from composer.geometry.rigid import nearest_rotation

KINDS = FEW + 30


@settings(deadline=None, max_examples=8)
@given(st.integers(0, 2**31 - 1))
def test_turns_are_those_of_scipy_s_alignment(seed: int) -> None:
    """Rotation.align_vectors solves the same problem (Wahba 1965) for one set of vectors after the other."""
    rng = np.random.default_rng(seed)
    ones = rng.normal(size=(KINDS, 6, 3))
    others = ones @ Rotation.random(KINDS, random_state=seed).as_matrix().transpose(0, 2, 1)
    others += rng.choice([0.0, 0.1, 1.0], (KINDS, 1, 1)) * rng.normal(size=others.shape)
    ones[::4] *= [1.0, 1.0, 1e-7]  # flat
    others[1::4, :, 0] *= -1.0  # mirrored
    others *= 10.0 ** rng.uniform(-4, 4, (KINDS, 1, 1))
    turns, traces = nearest_turns(np.einsum("kvi,kvj->kij", others, ones))
    for one, other, turn, trace in zip(ones, others, turns, traces, strict=True):
        best, _ = Rotation.align_vectors(other, one)
        size = np.linalg.norm(one) * np.linalg.norm(other)
        reached, most = ((rotation @ one.T * other.T).sum() / size for rotation in (turn, best.as_matrix()))
        assert abs(reached - most) < 1e-12 and abs(trace / size - most) < 1e-12
        np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-12)
        assert np.linalg.det(turn) > 0.0


def test_half_turns_single_lines_and_nothing_are_left_to_singular_vectors() -> None:
    half = Rotation.from_rotvec(np.pi * Rotation.random(FEW, random_state=1).apply([1.0, 0.0, 0.0])).as_matrix()
    turns, traces = nearest_turns(half)
    np.testing.assert_allclose(turns, half, atol=1e-9)
    np.testing.assert_allclose(traces, 3.0, atol=1e-12)
    lines = np.random.default_rng(2).normal(size=(FEW, 2, 3))
    rank_one = np.einsum("ki,kj->kij", lines[:, 0], lines[:, 1])
    turns, traces = nearest_turns(np.concatenate([rank_one, np.zeros((1, 3, 3))]))
    np.testing.assert_allclose(traces[:-1], np.linalg.norm(lines, axis=2).prod(axis=1), rtol=1e-12)
    np.testing.assert_allclose(np.einsum("kij,kij->k", turns[:-1], rank_one), traces[:-1], rtol=1e-9)
    assert traces[-1] == 0.0 and np.array_equal(turns[-1], nearest_rotation(np.zeros((3, 3)))[0])
