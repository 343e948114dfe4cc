"""A mask knows its topology, its length and its range; masks are combined and halved."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from masks.combine import invert, mirror, split_sides
from masks.mask import Mask, checked_values


def test_another_topology_is_refused() -> None:
    mask = Mask(np.array([0.0, 0.5, 1.0]), "8c1f" * 16)
    values, trusted = mask.on("8c1f" * 16, 3)
    assert values.tolist() == [0.0, 0.5, 1.0] and not trusted
    with pytest.raises(MoueError, match="another topology"):
        mask.on("0000" * 16, 3)
    with pytest.raises(MoueError, match="3 values, the mesh 4"):
        mask.on("8c1f" * 16, 4)


def test_without_a_fingerprint_only_trust_remains() -> None:
    assert Mask(np.zeros(2)).on("8c1f", 2)[1]


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
        Mask(np.array(values))


def test_rounding_is_forgiven_and_the_array_kept_safe() -> None:
    given = np.array([1 + 1e-12, -1e-12])
    assert checked_values(given).tolist() == [1.0, 0.0]
    mask = Mask(given)
    given[0] = 0.3
    assert mask.values.tolist() == [1.0, 0.0]
    with pytest.raises(ValueError, match="read-only"):
        mask.values[0] = 0.5


def test_combining_by_hand() -> None:
    a = [0.2, 0.9, 0.5]
    assert invert(a) == pytest.approx([0.8, 0.1, 0.5])
    assert mirror(a, np.array([2, 1, 0])).tolist() == [0.5, 0.9, 0.2]
    with pytest.raises(MoueError, match="permutation"):
        mirror(a, np.array([0, 0, 1]))


def test_sides_go_over_by_smoothstep() -> None:
    left, right = split_sides(np.ones(5), [-6.0, -1.5, 0.0, 1.5, 6.0], 6.0)
    assert left == pytest.approx([0, 5 / 32, 0.5, 27 / 32, 1])
    assert right == pytest.approx([1, 27 / 32, 0.5, 5 / 32, 0])
    hard, _ = split_sides(np.ones(3), [-1.0, 0.0, 1.0], 0.0)
    assert hard.tolist() == [0.0, 0.5, 1.0]
