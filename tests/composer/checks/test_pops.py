"""A planted jump in a sweep is found at its step and of its size; smooth and hinged sweeps are clean."""

import numpy as np
import pytest

from composer.checks.limits import Limits
from composer.checks.pops import find_pops
from composer.errors import MoueError

REST = np.random.default_rng(5).normal(size=(50, 3)) * 30.0
WEIGHTS = np.linspace(0.0, 1.0, 11)


def turned(angle):
    c, s = np.cos(angle), np.sin(angle)
    return REST @ np.array([[1.0, 0, 0], [0, c, -s], [0, s, c]]).T


def test_straight_and_turning_sweeps_have_no_pops():
    assert (
        find_pops("straight", WEIGHTS, [REST + w * np.array([0, 20.0, 5.0]) for w in WEIGHTS], Limits()) == []
    )
    assert find_pops("jaw", WEIGHTS, [turned(0.5 * w) for w in WEIGHTS], Limits()) == []


def test_an_inbetween_bends_the_path_without_a_pop():
    def at(w):
        return REST + np.array([0, 4.0, 0]) * min(w, 0.5) + np.array([6.0, 0, 0]) * max(w - 0.5, 0.0)

    assert find_pops("bent", WEIGHTS, [at(w) for w in WEIGHTS], Limits()) == []


def test_a_jump_is_found_where_and_as_large_as_it_was_planted():
    poses = [REST + w * np.array([0, 1.0, 0]) for w in WEIGHTS]
    for pose in poses[7:]:
        pose[[3, 8]] += [0.0, 3.0, 0.0]
    found = find_pops("jumpy", WEIGHTS, poses, Limits())
    assert [list(f.vertices) for f in found] == [[3, 8]]
    assert found[0].value == pytest.approx(3.0) and "60 and 70 percent" in found[0].words


def test_one_pose_that_leaps_out_and_back_is_found_by_its_second_difference():
    poses = [REST + w * np.array([0, 1.0, 0]) for w in WEIGHTS]
    poses[4] = poses[4].copy()
    poses[4][[5, 6]] += [0.0, 0.0, 3.0]
    found = find_pops("leaping", WEIGHTS, poses, Limits())
    assert [(f.code, f.vertices.tolist(), f.step) for f in found] == [("sweep.leap", [5, 6], 4)]
    assert found[0].value == pytest.approx(3.0, abs=0.3)


@pytest.mark.parametrize(("weights", "count"), [([0.0, 1.0], 2), ([0.0, 0.5, 0.5, 1.0], 4), ([0, 1, 2], 4)])
def test_wrong_sweeps_are_refused(weights, count):
    with pytest.raises(MoueError):
        find_pops("bad", weights, [REST] * count, Limits())
