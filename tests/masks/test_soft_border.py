"""A mask's border made softer or harder: the ramp has the width asked for, and neighbours fill what is given up."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.geometry.surface import Surface
from masks.partition import effective_masks, remainder, share, share_filled
from masks.soft_border import WIDEST_MM, SoftBorder
from masks.soften import smoothstep
from masks.spot import SpotGround
from tests.small_heads import grid

SIDE = 31
law = settings(deadline=None, max_examples=40)


def sheet() -> tuple[SpotGround, np.ndarray]:
    """A plane of 60 x 60 mm in squares of 2 mm, and the x of its places from the middle."""
    x, y = np.meshgrid(np.arange(SIDE), np.arange(SIDE))
    places = 2.0 * np.stack([x.ravel() - SIDE // 2, y.ravel(), 0 * x.ravel()], axis=1)
    return SpotGround(Surface(grid(SIDE, SIDE), places), np.ones(SIDE**2, bool), {}), places[:, 0]


@pytest.mark.parametrize("wide", [4.0, 10.0, 25.0, 40.0])
def test_across_a_straight_border_the_ramp_is_the_smoothstep_of_that_width(wide: float) -> None:
    ground, x = sheet()
    border = SoftBorder(ground, smoothstep(0.5 + x / 12.0))
    np.testing.assert_allclose(border.mask(wide), smoothstep(0.5 + x / wide), atol=0.02)


def test_the_width_that_a_mask_has_is_found() -> None:
    ground, x = sheet()
    for wide in (8.0, 20.0, 36.0):
        assert SoftBorder(ground, smoothstep(0.5 + x / wide)).width_mm == pytest.approx(wide, rel=0.05)
    assert SoftBorder(ground, (x > 1.0).astype(float)).width_mm == 0.0


def test_a_mask_without_a_border_stays_and_widths_that_are_none_are_refused() -> None:
    ground, _ = sheet()
    weak = np.full(SIDE**2, 0.3)
    np.testing.assert_array_equal(SoftBorder(ground, weak).mask(20.0), weak)
    for wide in (-1.0, WIDEST_MM + 1.0, float("nan")):
        with pytest.raises(MoueError, match="ramp"):
            SoftBorder(ground, weak).mask(wide)


def test_one_region_softened_alone_leaves_no_place_to_nobody() -> None:
    """By plain sharing 0.2 and more of some place inside would belong to nobody; filled, nothing does."""
    ground, x = sheet()
    left = smoothstep(0.5 + x / 8.0)
    raw = np.stack([left, 1.0 - left])
    soft = np.stack([SoftBorder(ground, raw[0]).mask(40.0), raw[1]])
    assert remainder(effective_masks(list(soft))).max() > 0.2
    filled = share_filled(soft, raw)
    np.testing.assert_allclose(filled.sum(axis=0), 1.0, atol=1e-12)
    beside = (x > -16.0) & (x < -6.0)
    assert (filled[0][beside] > raw[0][beside]).all()  # it is wider now


def test_an_outer_border_widens_too() -> None:
    """A region beside nothing but the rest of the face: the rest counts as a neighbour."""
    ground, x = sheet()
    raw = np.stack([smoothstep(0.5 + (x - 14.0) / 8.0), smoothstep(0.5 + (-x - 14.0) / 8.0)])
    soft = np.stack([SoftBorder(ground, raw[0]).mask(24.0), raw[1]])
    filled = share_filled(soft, raw)
    outside = (x > 2.5) & (x < 9.5)
    assert (filled[0][outside] > raw[0][outside]).all() and filled.sum(axis=0).max() <= 1.0 + 1e-12
    np.testing.assert_array_equal(filled[1], raw[1])


@law
@given(st.integers(0, 2**32 - 1), st.integers(2, 5))
def test_filled_shares_are_shares(seed: int, count: int) -> None:
    """In [0, 1], at most 1 together, locked ones as they are; unsoftened masks share as ever."""
    rng = np.random.default_rng(seed)
    raw = rng.random((count, 12)) * (rng.random((count, 12)) > 0.3)
    soft = np.clip(raw + 0.5 * rng.normal(size=raw.shape), 0.0, 1.0)
    locked = (rng.random(count) < 0.3).tolist()
    filled = share_filled(soft, raw, locked)
    assert (filled >= 0.0).all() and (filled <= 1.0 + 1e-12).all() and (filled.sum(axis=0) <= 1.0 + 1e-9).all()
    np.testing.assert_allclose(filled[locked], share(soft, locked)[locked])
    np.testing.assert_allclose(share_filled(raw, raw, locked), share(raw, locked), atol=1e-12)


@law
@given(st.integers(0, 2**32 - 1))
def test_where_masks_covered_a_place_before_softening_they_still_do(seed: int) -> None:
    rng = np.random.default_rng(seed)
    raw = rng.random((3, 10))
    raw /= raw.sum(axis=0)
    soft = raw.copy()
    soft[0] = rng.random(10)
    np.testing.assert_allclose(share_filled(soft, raw).sum(axis=0), 1.0, atol=1e-12)
