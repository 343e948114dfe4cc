"""Teeth, tongue, eyeballs and lashes go where they are carried."""

from __future__ import annotations

import numpy as np
import pytest

from composer.demo.gaze import GAZE_DEG, rotation
from tests.composer.demo.library_fixtures import NAMES, SHUT, face


def distances(points: np.ndarray) -> np.ndarray:
    """Distances of 40 spread points from each other."""
    few = points[:: max(len(points) // 40, 1)]
    return np.linalg.norm(few[:, None] - few[None], axis=2)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("shape", ["au26", "au27", "jaw_left", "jaw_forward"])
def test_the_jaw_carries_lower_teeth_and_tongue_rigidly(name: str, shape: str) -> None:
    subject = face(name)
    posed = subject.posing.pose({shape: 1.0})
    jaw = [part for part, follows in subject.anatomy.follows.items() if follows == "jaw"]
    assert {"teeth_lower", "tongue"} <= set(jaw)
    both = np.concatenate([subject.anatomy.parts[part] for part in jaw])
    np.testing.assert_allclose(distances(posed[both]), distances(subject.anatomy.positions[both]), atol=1e-9)
    assert np.linalg.norm(posed[both] - subject.anatomy.positions[both], axis=1).min() > 1.0
    still = subject.anatomy.parts["teeth_upper"]
    np.testing.assert_array_equal(posed[still], subject.anatomy.positions[still])


@pytest.mark.parametrize("name", NAMES)
def test_the_jaw_drops_by_its_angle_about_the_hinge_and_a_small_glide(name: str) -> None:
    subject = face(name)
    at = subject.anatomy.parts["teeth_lower"]
    before, after = subject.anatomy.positions[at], subject.posing.pose({"au26": 1.0})[at]
    a, b = before - before.mean(0), after - after.mean(0)
    u, _, v = np.linalg.svd(a.T @ b)
    turn = (u @ np.diag([1, 1, np.linalg.det(u @ v)]) @ v).T  # Kabsch 1976
    angle = np.degrees(np.arccos((np.trace(turn) - 1) / 2))
    assert angle == pytest.approx(12.0, abs=1e-6)
    np.testing.assert_allclose(np.abs(turn[0]), [1, 0, 0], atol=1e-9)  # about the left-right axis
    chin = subject.anatomy.mouth["border"][18]
    assert subject.posing.jaw.weight[chin] > 0.98


@pytest.mark.parametrize("name", NAMES)
def test_the_opened_mouth_is_as_wide_as_an_adults(name: str) -> None:
    # largest opening between incisors of adults 40 to 60 mm: common practice, from memory; wide band
    subject = face(name)
    posed = subject.posing.pose({"au27": 1.0})
    upper, lower = (posed[subject.anatomy.parts[p]] for p in ("teeth_upper", "teeth_lower"))
    front_upper = upper[np.argsort(-upper[:, 2])[:30]]
    front_lower = lower[np.argsort(-lower[:, 2])[:30]]
    assert 25.0 < front_upper[:, 1].min() - front_lower[:, 1].max() + 2.0 < 60.0


@pytest.mark.parametrize("shape", ["gaze_left", "gaze_right", "gaze_up", "gaze_down"])
def test_eyeballs_turn_about_their_centres(shape: str) -> None:
    subject = face("keeper")
    posed = subject.posing.pose({shape: 1.0})
    way = shape.removeprefix("gaze_")
    left, up = {"left": (1, 0), "right": (-1, 0), "up": (0, 1), "down": (0, -1)}[way]
    turn = rotation(left * GAZE_DEG[way], up * GAZE_DEG[way])
    for part, centre in zip(("eye_left", "eye_right"), subject.anatomy.eyes, strict=True):
        at = subject.anatomy.parts[part]
        expected = (subject.anatomy.positions[at] - centre) @ turn.T
        np.testing.assert_allclose(posed[at] - centre, expected, atol=1e-9)
    sight = turn @ np.array([0, 0, 1.0])
    assert sight[0] * left > 0 or sight[1] * up > 0
    assert np.degrees(np.arccos(sight[2])) == pytest.approx(GAZE_DEG[way])


def test_the_upper_lid_follows_the_gaze() -> None:
    subject = face("keeper")
    middle = subject.anatomy.eye["margin_front"][6]
    rest = subject.anatomy.positions[middle, 1]
    assert subject.posing.pose({"gaze_down": 1.0})[middle, 1] < rest - 2.0
    assert subject.posing.pose({"gaze_up": 1.0})[middle, 1] > rest + 1.0


@pytest.mark.parametrize("name", NAMES)
def test_lashes_stay_on_the_lids_they_grow_from(name: str) -> None:
    subject = face(name)
    posed = subject.posing.pose(SHUT)
    margin = np.concatenate([subject.anatomy.eye[ring] for ring in ("edge", "margin_front")])
    for lid in ("upper", "lower"):
        at = subject.anatomy.parts[f"lashes_{lid}_left"]
        root = at[
            np.linalg.norm(subject.anatomy.positions[at][:, None] - subject.anatomy.positions[margin], axis=2).min(1)
            < 1.2
        ]
        assert len(root) > 10
        away = np.linalg.norm(posed[root][:, None] - posed[margin], axis=2).min(1)
        assert away.max() < 1.9, lid
