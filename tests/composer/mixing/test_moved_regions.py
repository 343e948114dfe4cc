"""Which regions a shape moves."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from composer.head.head import Head, Shape
from composer.mixing.moved_regions import moved_regions
from tests.composer.checks.check_heads import plane

POLYGONS, POINTS = plane(6)
LEFT, RIGHT = (POINTS[:, 0] < 0).astype(float), (POINTS[:, 0] > 0).astype(float)


def moving(*weights: np.ndarray) -> Head:
    """A plane whose shapes raise it by these amounts (n,)."""
    shapes = tuple(
        Shape(f"s{i}", np.outer(weight, [0.0, 0.0, 1.0]).astype(np.float32)) for i, weight in enumerate(weights)
    )
    return Head("plane", POLYGONS, POINTS, shapes=shapes)


def test_a_shape_moves_the_regions_that_it_moves_most_first() -> None:
    found = moved_regions(
        moving(LEFT, 2.0 * LEFT + RIGHT, RIGHT + 0.1 * LEFT, 0.0 * LEFT),
        {"a": LEFT, "b": RIGHT, "nothing": 0.0 * LEFT},
    )
    assert found == {"s0": ("a",), "s1": ("a", "b"), "s2": ("b",), "s3": ()}


@given(seed=st.integers(0, 2**32 - 1), factor=st.floats(0.01, 100.0))
def test_a_stronger_shape_moves_the_same_regions(seed: int, factor: float) -> None:
    rng = np.random.default_rng(seed)
    weight = rng.normal(size=len(POINTS))
    masks = {name: rng.uniform(size=len(POINTS)) ** 4 for name in "abc"}
    one, other = (moved_regions(moving(w), masks)["s0"] for w in (weight, factor * weight))
    assert one == other and one[0] == max(masks, key=lambda n: masks[n] @ weight**2 / masks[n].sum())


def test_a_head_without_regions_or_shapes_moves_none() -> None:
    assert moved_regions(moving(LEFT), {}) == {"s0": ()}
    assert moved_regions(moving(), {"a": LEFT}) == {}
