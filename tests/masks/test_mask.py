"""Values of a mask have a length and a range; masks are inverted and split into sides."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from masks.combine import invert, split_sides
from masks.mask import checked_values


def test_another_number_of_vertices_is_refused() -> None:
    with pytest.raises(MoueError, match="3 values, the mesh 4"):
        checked_values(np.array([0.0, 0.5, 1.0]), 4)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([0.1, np.nan], "vertex 1"),
        ([0.1, 1.01], "1.01 at vertex 1"),
        ([-0.2, 0], "-0.2 at vertex 0"),
        ([[0.1]], "dimensions"),
    ],
)
def test_values_that_are_no_mask(values: list, words: str) -> None:
    with pytest.raises(MoueError, match=words):
        checked_values(np.array(values))


def test_rounding_is_clipped_and_the_given_array_kept() -> None:
    given = np.array([1 + 1e-12, -1e-12])
    values = checked_values(given)
    given[0] = 0.3
    assert values.tolist() == [1.0, 0.0]


def test_combining_by_hand() -> None:
    a = [0.2, 0.9, 0.5]
    assert invert(a) == pytest.approx([0.8, 0.1, 0.5])


def test_sides_go_over_by_smoothstep() -> None:
    left, right = split_sides(np.ones(5), [-6.0, -1.5, 0.0, 1.5, 6.0], 6.0)
    assert left == pytest.approx([0, 5 / 32, 0.5, 27 / 32, 1])
    assert right == pytest.approx([1, 27 / 32, 0.5, 5 / 32, 0])
    hard, _ = split_sides(np.ones(3), [-1.0, 0.0, 1.0], 0.0)
    assert hard.tolist() == [0.0, 0.5, 1.0]
