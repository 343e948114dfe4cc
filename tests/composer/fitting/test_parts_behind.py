"""Teeth that would stand through the new head's lips go back behind them."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from composer.fitting.parts import place_parts
from composer.fitting.skin import Skin
from composer.fitting.zones import free_zones
from composer.head.head import Head
from tests.demo_heads import neutral_head


@pytest.fixture(scope="module")
def keeper() -> Head:
    return neutral_head("keeper")


def through(head: Head, at: np.ndarray, free: np.ndarray) -> int:
    """How many front vertices of the lower teeth see no skin before them: rays straight ahead, by trimesh."""
    skin = Skin.of(head)
    corners = skin.vertices[skin.polygons.triangles]
    corners = corners[(free[corners] < 0.5).all(axis=1)]
    teeth = head.part("teeth_lower").vertices
    before = head.neutral[teeth]
    front = teeth[(np.abs(before[:, 0]) < 10) & (before[:, 1] < np.median(before[:, 1])) & (before[:, 2] > 75)]
    assert len(front) > 10
    ahead = np.tile([0.0, 0.0, 1.0], (len(front), 1))
    return int((~trimesh.Trimesh(at, corners, process=False).ray.intersects_any(at[front], ahead)).sum())


def test_a_lip_that_lies_further_back_pushes_the_teeth_back(keeper: Head) -> None:
    free, _ = free_zones(keeper)
    marks = keeper.landmarks
    assert marks is not None
    middle = marks.position("sublabiale", keeper.neutral)
    away = np.linalg.norm(keeper.neutral - middle, axis=1)
    at = keeper.neutral - 12.0 * np.exp(-((away / 14.0) ** 2))[:, None] * [0.0, 0.0, 1.0] * keeper.skin[:, None]
    assert through(keeper, keeper.neutral, free) == 0
    assert through(keeper, at, free) > 0
    placed, notes = place_parts(keeper, at, free=free)
    assert through(keeper, placed, free) == 0
    assert "mm back behind the skin" in notes[0]


def test_teeth_that_stand_through_nothing_stay(keeper: Head) -> None:
    free, _ = free_zones(keeper)
    placed, notes = place_parts(keeper, keeper.neutral, free=free)
    teeth = keeper.part("teeth_lower").vertices
    assert np.abs(placed[teeth] - keeper.neutral[teeth]).max() < 1e-6 and "back" not in notes[0]
