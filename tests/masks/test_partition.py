"""Sharing a face: numbers worked by hand from the rule in masks/partition.py."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from masks.partition import effective_masks, remainder, share


def test_sharing_by_hand() -> None:
    """Locked 0.5; unlocked 0.6 and 0.4 want 1.0 of the 0.5 that is left: each is halved."""
    assert share([[0.5], [0.6], [0.4]], [True, False, False]) == pytest.approx(np.array([[0.5], [0.3], [0.2]]))
    assert share([[0.2], [0.3]]) == pytest.approx(np.array([[0.2], [0.3]]))
    assert share([[1.0], [1.0]], [True, True]) == pytest.approx(np.array([[0.5], [0.5]]))
    assert share([[1.0], [0.7]], [True, False]) == pytest.approx(np.array([[1.0], [0.0]]))
    assert share([[0.0], [0.0]]).tolist() == [[0.0], [0.0]]


def test_an_overlay_shares_with_nobody() -> None:
    raw = [np.array([0.8]), np.array([0.9]), np.array([1.0])]
    effective = effective_masks(raw, sets=["face", "face", "overlay"])
    assert effective[2].tolist() == [1.0]
    assert effective[:2].sum() == pytest.approx(1.0)
    assert remainder(effective, ["face", "face", "overlay"]) == pytest.approx([0.0])
    alone = effective_masks([np.array([0.3])])
    assert remainder(alone) == pytest.approx([0.7])


def test_without_regions_everything_remains() -> None:
    assert remainder(effective_masks([]), n_vertices=3).tolist() == [1.0, 1.0, 1.0]


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(MoueError, match="different lengths"):
        effective_masks([np.zeros(3), np.zeros(4)])
    with pytest.raises(MoueError, match="region 1 is 1.2 at vertex 0"):
        effective_masks([np.zeros(2), np.array([1.2, 0.0])])
    with pytest.raises(MoueError, match="1 locks"):
        effective_masks([np.zeros(2), np.zeros(2)], [True])
