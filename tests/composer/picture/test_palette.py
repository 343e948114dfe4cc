"""Colours of regions that lie beside each other."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from composer.picture.palette import OKABE_ITO
from masks.hues import hues_apart


@given(st.integers(2, 40))
def test_regions_along_a_line_never_share_a_colour_with_a_neighbour(count: int) -> None:
    x = np.arange(10.0 * count)
    masks = [np.clip(1.0 - np.abs(x - 10.0 * i) / 11.0, 0.0, 1.0) for i in range(count)]
    chosen = hues_apart(masks)
    assert all(a != b for a, b in zip(chosen, chosen[1:], strict=False))
    assert all(0 <= hue < len(OKABE_ITO) for hue in chosen)


def test_regions_that_never_meet_take_the_colours_in_turn() -> None:
    masks = list(np.eye(9))
    assert hues_apart(masks) == [i % len(OKABE_ITO) for i in range(9)]


def test_no_regions_need_no_colours() -> None:
    assert hues_apart([]) == []
