"""Mirror maps: mutual partners across x = 0, or the number of vertices that have none."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.head.symmetry import mirror_map


def symmetric(seed: int, pairs: int, middle: int) -> tuple[np.ndarray, np.ndarray]:
    """Points in a random order, and the partner that each was made with."""
    rng = np.random.default_rng(seed)
    left = rng.normal(size=(pairs, 3)) + [3.0, 0, 0]
    line = rng.normal(size=(middle, 3)) * [0, 1, 1]
    points = np.concatenate([left, left * [-1, 1, 1], line])
    partner = np.concatenate([np.arange(pairs) + pairs, np.arange(pairs), 2 * pairs + np.arange(middle)])
    order = rng.permutation(len(points))
    return points[order], np.argsort(order)[partner[order]]


@settings(deadline=None)
@given(seed=st.integers(0, 2**32 - 1), pairs=st.integers(1, 30), middle=st.integers(0, 5))
def test_planted_partners_are_found(seed: int, pairs: int, middle: int) -> None:
    points, partner = symmetric(seed, pairs, middle)
    assert np.array_equal(mirror_map(points), partner)


@settings(deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_a_small_asymmetry_within_the_tolerance_is_forgiven(seed: int) -> None:
    points, partner = symmetric(seed, 20, 3)
    size = np.linalg.norm(np.ptp(points, axis=0))
    rng = np.random.default_rng(seed)
    jitter = rng.uniform(-1, 1, points.shape) * 0.25e-4 * size / np.sqrt(3)
    assert np.array_equal(mirror_map(points + jitter), partner)


@pytest.mark.parametrize("lost", [1, 4])
def test_vertices_without_a_partner_are_counted(lost: int) -> None:
    points, _ = symmetric(1, 20, 3)
    points[:lost] += [0.0, 50.0, 0.0] + np.arange(lost)[:, None] * [0, 3.0, 0]
    with pytest.raises(MoueError, match=r"(\d+) of 43 vertices have no mirror partner") as caught:
        mirror_map(points)
    count = int(str(caught.value).split()[0])
    assert lost <= count <= 2 * lost  # each, and the partner it had


def test_vertices_that_share_a_place_are_paired_and_form_an_involution() -> None:
    """Lips closed at rest: upper and lower vertices in one place, on both sides and on the midline."""
    points = np.array([[1.0, 0, 0], [1, 0, 0], [-1, 0, 0], [-1, 0, 0], [0, 0, 0], [0, 0, 0], [0, 5, 1]])
    partner = mirror_map(points)
    assert np.array_equal(partner[partner], np.arange(7))
    assert np.array_equal(points[partner], points * [-1, 1, 1] + 0.0)
    assert sorted(partner.tolist()) == list(range(7))


def test_no_vertices_have_no_partners() -> None:
    assert mirror_map(np.zeros((0, 3))).shape == (0,)
