"""The judge of mixed regions: what it counts is what a formula says."""

from __future__ import annotations

import numpy as np
import pytest

from composer.bench.random_mixes import random_mixes
from masks.soften import ramp
from tests.masks.surfaces import plane

FLAT = plane(61, 11, 1.0)
SKIN = np.ones(FLAT.n_vertices, dtype=bool)
X = FLAT.positions[:, 0]


@pytest.mark.parametrize(("width", "motion"), [(20.0, 12.0), (20.0, 15.0), (30.0, 16.0), (10.0, 8.0), (40.0, 30.0)])
def test_a_plate_pushed_over_a_ramp_folds_where_slope_times_motion_is_above_one(width: float, motion: float) -> None:
    """Where a mask falls along x from 1 to 0 by a smoothstep of this width, its slope is 1.5 / width at most."""
    masks = {"left": ramp(30.0 - X, width), "right": ramp(X - 30.0, width)}
    push = np.zeros((FLAT.n_vertices, 3))
    push[:, 0] = motion
    mixes = random_mixes(FLAT, SKIN, [push], masks, {("left", "right"): width}, recipes=4, cells=1)
    assert (mixes.turned > 0).any() == (1.5 / width * motion > 1.0)
    assert not mixes.tame_turned.any()


def test_the_same_shape_everywhere_is_that_shape() -> None:
    masks = {"left": ramp(30.0 - X, 2.0), "right": ramp(X - 30.0, 2.0)}
    rng = np.random.default_rng(1)
    shape = rng.normal(size=(FLAT.n_vertices, 3))
    mixes = random_mixes(FLAT, SKIN, [shape], masks, recipes=5, cells=2)
    assert not mixes.turned.any() and float(np.abs(mixes.strain).max()) < 1e-9
    assert "0 faces in 0 of 5 recipes" in mixes.words


def test_a_fold_on_a_border_that_should_bear_the_motion_is_told_apart() -> None:
    """Pushed by 8 mm over a ramp of 20, and drawn together to a tenth by itself: the mask's slope adds up to a fold."""
    masks = {"left": ramp(30.0 - X, 20.0), "right": ramp(X - 30.0, 20.0)}
    shape = np.zeros((FLAT.n_vertices, 3))
    shape[:, 0] = 8.0 - 0.9 * np.clip(X - 30.0, -3.0, 3.0)
    mixes = random_mixes(FLAT, SKIN, [shape], masks, {("left", "right"): 20.0}, recipes=6, cells=1)
    assert mixes.turned.any() and np.array_equal(mixes.turned, mixes.tame_turned)
