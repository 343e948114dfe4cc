"""Polygons close by others in space: against the distances of all pairs of boxes."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.close_by import close_by
from composer.geometry.polygons import Polygons


@settings(max_examples=40)
@given(st.integers(0, 2**31 - 1), st.integers(1, 60), st.floats(0.0, 0.3))
def test_all_within_are_found_and_none_far_away(seed: int, count: int, within: float) -> None:
    random = np.random.default_rng(seed)
    size = 10.0 ** random.uniform(-2, 0, (count, 1, 1))
    points = random.uniform(-1, 1, (count, 1, 3)) + size * random.uniform(-0.2, 0.2, (count, 3, 3))
    polygons = Polygons(np.full(count, 3), np.arange(3 * count), 3 * count)
    flags = random.random(count) < 0.2
    close = close_by(polygons, points.reshape(-1, 3), flags, within)
    low, high = points.min(axis=1), points.max(axis=1)
    apart = np.maximum(low[:, None] - high[None], low[None] - high[:, None]).max(axis=2)[:, flags]
    assert close[flags].all() and close[(apart <= within).any(axis=1)].all()
    if flags.any():
        cell = max(within, float((high - low)[flags].max()))
        small = (high - low).max(axis=1) <= 3 * cell
        assert not close[small & (apart > 3 * cell).all(axis=1)].any()
