"""Left and right are exact mirror images, and two halves are the whole."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.demo.action_units import ACTION_UNITS
from tests.composer.demo.library_fixtures import NAMES, face

FLIP = np.array([-1, 1, 1])
PAIRS = [u.name for u in ACTION_UNITS if u.sided]
MIDDLE = [u.name for u in ACTION_UNITS if not u.sided and not u.name.startswith("jaw_")] + [
    "jaw_forward",
    "gaze_up",
    "gaze_down",
]


@pytest.mark.parametrize("name", NAMES)
def test_pairs_are_mirror_images(name: str) -> None:
    head, mirror = face(name).head, face(name).anatomy.mirror
    for pair in [*PAIRS]:
        left, right = head.shape(f"{pair}_left").delta, head.shape(f"{pair}_right").delta
        np.testing.assert_allclose(right, left[mirror] * FLIP, atol=2e-6, err_msg=pair)
    for left_name, right_name in (("gaze_left", "gaze_right"), ("jaw_left", "jaw_right")):
        left, right = head.shape(left_name).delta, head.shape(right_name).delta
        np.testing.assert_allclose(right, left[mirror] * FLIP, atol=2e-6, err_msg=left_name)


@pytest.mark.parametrize("name", NAMES)
def test_what_has_no_side_is_its_own_mirror_image(name: str) -> None:
    head, mirror = face(name).head, face(name).anatomy.mirror
    for each in MIDDLE:
        delta = head.shape(each).delta
        np.testing.assert_allclose(delta, delta[mirror] * FLIP, atol=2e-6, err_msg=each)


def test_expressions_are_a_little_uneven() -> None:
    head, mirror = face("keeper").head, face("keeper").anatomy.mirror
    upper = face("keeper").anatomy.parts["teeth_upper"]
    for name in ("joy", "disgust", "fear", "shout"):  # those that record no motion of the head
        delta = head.shape(name).delta
        uneven = np.linalg.norm(delta - delta[mirror] * FLIP, axis=1)
        assert 0.1 < uneven.max() < 0.35 * np.linalg.norm(delta, axis=1).max(), name
        assert np.abs(delta[upper]).max() == 0.0


@settings(max_examples=8, deadline=None)
@given(st.sampled_from(["au01", "au04", "au12", "au15"]), st.floats(0.1, 1.0))
def test_two_halves_of_flesh_are_the_whole(name: str, amount: float) -> None:
    subject = face("keeper")
    unit = next(u for u in ACTION_UNITS if u.name == name)
    whole = subject.posing.flesh(unit, round(amount, 3))
    left = subject.anatomy.side(1, unit.split_mm)
    right = subject.anatomy.side(-1, unit.split_mm)
    np.testing.assert_allclose(left + right, 1.0, atol=1e-12)
    np.testing.assert_allclose(left[subject.anatomy.mirror], right, atol=1e-12)
    np.testing.assert_allclose(whole, whole[subject.anatomy.mirror] * FLIP, atol=1e-9)
