"""Lids shut on the eyeball by turning about its axis alone, and stay shut when subdivided; lips rest in contact."""

from __future__ import annotations

import numpy as np
import pytest

from composer.demo.layout import EYE_RINGS, MOUTH_RINGS, ring
from composer.demo.neutral import DemoNeutral
from composer.head.levels import levels
from tests.composer.demo.neutral_heads import NAMES, neutral, skin_polygons

WITH_THE_MARGIN = {
    "fold": 0.1, "crease": 0.5, "tarsal": 0.95, "edge": 1, "margin_front": 1, "margin_middle": 1, "margin_back": 1,
    "conjunctiva": 0.5,
}  # fmt: skip


def shut(base: DemoNeutral) -> np.ndarray:
    """The skin with the left lids turned about the eyeball's left-right axis, each column to where the two meet."""
    points = base.positions[: base.n_skin].copy()
    rings, centre = base.rings["eye_left"], base.eye_left

    def angle(ids: np.ndarray) -> np.ndarray:
        from_centre = base.positions[ids] - centre
        return np.arctan2(from_centre[:, 1], from_centre[:, 2])

    upper, lower = np.arange(1, 12), np.arange(23, 12, -1)
    middle = rings[ring(EYE_RINGS, "margin_middle")]
    meet = 0.25 * angle(middle[upper]) + 0.75 * angle(middle[lower])
    for name, share in WITH_THE_MARGIN.items():
        for columns in (upper, lower):
            ids = rings[ring(EYE_RINGS, name)][columns]
            turn = share * (meet - angle(middle[columns]))
            x, y, z = (points[ids] - centre).T
            turned = np.stack([x, y * np.cos(turn) + z * np.sin(turn), z * np.cos(turn) - y * np.sin(turn)], axis=1)
            points[ids] = centre + turned
    return points


@pytest.mark.parametrize("level", [0, 1, 2])
@pytest.mark.parametrize("name", NAMES)
def test_shut_lids_meet_without_gap_or_overlap(name: str, level: int) -> None:
    base = neutral(name)
    points = shut(base)
    ids = base.rings["eye_left"][ring(EYE_RINGS, "margin_middle")]
    upper, lower = ids[:13], ids[np.concatenate([[0], np.arange(23, 11, -1)])]
    for step in levels(skin_polygons(base), level):
        points, upper, lower = step.apply(points), step.curve(upper), step.curve(lower)
    apart = points[upper] - points[lower]
    gap = np.linalg.norm(apart, axis=1)
    assert gap.max() <= 0.2
    assert (-apart[:, 1]).max() <= 0.1  # the upper lid below the lower one


@pytest.mark.parametrize("name", NAMES)
def test_open_lids_are_open_and_clear_of_the_eyeball(name: str) -> None:
    base = neutral(name)
    at = base.positions
    rings = base.rings["eye_left"]
    margin = at[rings[ring(EYE_RINGS, "margin_back")]]
    opening = margin[6, 1] - margin[18, 1]
    # palpebral fissure height of adults, 8 to 11 mm (Farkas 1994, from memory); a hooded or a wide eye at the ends
    assert 7.0 < opening < 12.0
    ball = at[next(p.vertices for p in base.parts if p.name == "eye_left")] - base.eye_left
    skin_near = at[rings[2:].ravel()] - base.eye_left
    cornea = np.linalg.norm(ball, axis=1).max()
    ahead = np.hypot(skin_near[:, 0], skin_near[:, 1]) < 6.5
    assert np.linalg.norm(skin_near, axis=1).min() > base.eye_radius + 0.25
    assert np.linalg.norm(skin_near[ahead], axis=1).min() > cornea


@pytest.mark.parametrize("level", [0, 1, 2])
@pytest.mark.parametrize("name", NAMES)
def test_resting_lips_touch_along_the_whole_line(name: str, level: int) -> None:
    base = neutral(name)
    points = base.positions[: base.n_skin]
    ids = base.rings["mouth"][ring(MOUTH_RINGS, "contact_middle")]
    upper, lower = ids[np.r_[27:36, 0:10]], ids[27:8:-1]
    for step in levels(skin_polygons(base), level):
        points, upper, lower = step.apply(points), step.curve(upper), step.curve(lower)
    apart = (points[upper] - points[lower])[:, 1]
    assert apart.max() <= 0.2
    assert apart.min() >= -0.1


@pytest.mark.parametrize("name", NAMES)
def test_rings_are_named_one_by_one(name: str) -> None:
    base = neutral(name)
    assert base.rings["eye_left"].shape == (len(EYE_RINGS), 24)
    assert base.rings["mouth"].shape == (len(MOUTH_RINGS), 36)
    edges = {frozenset(e) for e in base.polygons.edges.tolist()}
    for loops in base.rings.values():
        for loop in loops:
            assert all(frozenset(e) in edges for e in zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True))
