"""One triangle of a front: the distance that comes to its third corner, from circles and lines drawn on paper."""

from __future__ import annotations

import numpy as np
import pytest

from composer.geometry.marching import _round, _straight


def arrival(update, at_a: float, at_b: float, along: float, above: float, length: float = 1.0) -> float:  # type: ignore[no-untyped-def]
    a, b, c, d, e = (np.array([value]) for value in (at_a, at_b, length, along, above))
    return float(update(a, b, c, d, e)[0])


@pytest.mark.parametrize("size", [0.01, 1.0, 100.0])
@pytest.mark.parametrize(("x", "y", "along", "above"), [(0.3, 0.4, 0.5, 0.6), (0.5, 0.1, 0.1, 0.8), (0.9, 2, 0.6, 0.3)])
def test_a_round_front_is_the_distance_from_its_source(
    x: float, y: float, along: float, above: float, size: float
) -> None:
    found = arrival(_round, size * np.hypot(x, y), size * np.hypot(1 - x, y), size * along, size * above, size)
    assert found == pytest.approx(size * np.hypot(along - x, above + y), rel=1e-9)


def test_a_round_front_that_would_come_past_the_edge_does_not_come() -> None:
    assert arrival(_round, np.hypot(2.0, 0.5), np.hypot(3.0, 0.5), 0.5, 0.5) == np.inf
    assert arrival(_round, 0.2, 0.3, 0.5, 0.5) == np.inf  # no point is so near to both ends of an edge of 1


@pytest.mark.parametrize(("along", "above"), [(0.5, 0.4), (0.9, 0.3), (0.9, 0.8)])
def test_a_straight_front_is_its_height_above_the_line_where_it_began(along: float, above: float) -> None:
    # It runs along (0.6, 0.8): at a 2, at b 2.6, at c 0.6 along + 0.8 above more than at a.
    assert arrival(_straight, 2.0, 2.6, along, above) == pytest.approx(2.0 + 0.6 * along + 0.8 * above, rel=1e-12)
    assert arrival(_straight, 4.0, 5.2, 2 * along, 2 * above, 2.0) == pytest.approx(
        4.0 + 1.2 * along + 1.6 * above, rel=1e-12
    )


@pytest.mark.parametrize(("along", "above"), [(0.1, 0.4), (1.5, 0.4)])
def test_a_straight_front_that_would_come_past_the_edge_does_not_come(along: float, above: float) -> None:
    assert arrival(_straight, 2.0, 2.6, along, above) == np.inf  # it crosses at along - 0.75 above


def test_a_front_along_the_edge_itself_does_not_come_through_it() -> None:
    assert arrival(_straight, 0.0, 1.0, 0.5, 0.5) == np.inf
    assert arrival(_straight, 0.0, 3.0, 0.5, 0.5) == np.inf
