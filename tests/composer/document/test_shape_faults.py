"""Faults planted in the shapes of a large head are found on its coarser level as on the head itself."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from composer.document.shape_faults import shape_faults
from composer.head import coarse as coarse_level
from composer.head.coarse_head import coarse_head
from composer.head.head import Head, Shape
from composer.head.levels import head_at_level
from tests.window.dome import dome


@pytest.fixture(scope="module")
def planted() -> Head:
    """A dome of 12,000 vertices with a dead shape, one that is there twice, one that differs from another at a single
    vertex between those of its coarser level, one with head motion (1.5 degrees, scipy's rotation), one mirrored."""
    head = head_at_level(dome(16, 13), 2)
    one, other, third, *rest = head.shapes
    turned = Rotation.from_euler("y", 1.5, degrees=True).apply(head.neutral.copy()) - head.neutral
    nearly = third.delta.copy()
    nearly[-1] += 5.0
    swapped = head.neutral * [-1.0, 1.0, 1.0] - head.neutral
    made = {
        "dead": 0.0 * one.delta, "twice": one.delta.copy(), "nearly": nearly,
        "swings": other.delta + turned, "swapped": swapped,
    }  # fmt: skip
    return head.with_(shapes=(one, other, third, *rest, *(Shape(k, v.astype(np.float32)) for k, v in made.items())))


@pytest.mark.parametrize("large", [False, True])
def test_planted_faults_are_found(large: bool, planted: Head, monkeypatch: pytest.MonkeyPatch) -> None:
    if large:
        monkeypatch.setattr(coarse_level, "LARGE", planted.n_vertices)
        monkeypatch.setattr(coarse_level, "ENOUGH", planted.n_vertices // 5)
    head = planted.with_(name="another")
    level = coarse_head(head)
    assert (level is not None) == large
    assert level is None or head.n_vertices - 1 not in level.level.vertices
    motions, faults = shape_faults(head)
    found = {(name, fault.code) for name, fault in faults}
    assert found == {
        ("dead", "shape.dead"), ("twice", "shape.double"), ("swings", "motion.head"), ("swapped", "shape.mirrored"),
    }  # fmt: skip
    assert motions["swings"].turn_deg == pytest.approx(1.5, abs=0.05)
