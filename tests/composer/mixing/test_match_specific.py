"""Which of cells that a take cannot tell apart is taken."""

from __future__ import annotations

import numpy as np
import pytest

from composer.mixing.match import Bounds, Columns
from composer.mixing.match_cells import TakeSums, cells_alone
from composer.mixing.match_specific import Shares, most_specific
from tests.composer.edits.taken_head import bowl, with_sides

FRAMES, NOISE = 30, 0.04
BOUNDS = Bounds(sparse=0.01)


def test_a_share_is_that_of_the_squared_movement() -> None:
    """By hand: the mask times the shape over the shape, squared."""
    evaluated = with_sides(bowl(3))
    columns = Columns(evaluated.mixer, ["all", "left"], ["push_0", "push_1", "push_2"])
    shares = Shares.of(columns, {"push_2": "push_1"})
    mask = evaluated.mixer.masks["left"][:, None]
    deltas = [evaluated.head.shape(f"push_{i}").delta.astype(np.float64) for i in range(3)]
    asked = [1.0, 1.0, 1.0] + [np.square(mask * delta).sum() / np.square(delta).sum() for delta in deltas]
    np.testing.assert_allclose(shares.share, asked, rtol=1e-6)
    assert shares.region.tolist() == [0, 0, 0, 1, 1, 1]
    assert shares.bend.tolist() == [-1, 2, -1, -1, 5, -1] and shares.bends.tolist() == [-1, -1, 1, -1, -1, 4]


def sums_of(columns: np.ndarray, weights: np.ndarray) -> TakeSums:
    """A take of columns (m, K) and weights (f, K) without noise, judged as if there were some."""
    frames = weights @ columns.T
    return TakeSums(columns.T @ columns, frames @ columns, np.square(frames).sum(axis=1), len(columns), NOISE)


def shares_of(share: list[float], bend: tuple[int, int] | None = None) -> Shares:
    there, owner = np.full(len(share), -1), np.full(len(share), -1)
    if bend is not None:
        there[bend[0]], owner[bend[1]] = bend[1], bend[0]
    return Shares(np.zeros(len(share), dtype=np.intp), np.array(share), there, owner)


@pytest.mark.parametrize(("rise", "told"), [(20.0, 1), (30.0, 0)])
def test_evidence_goes_before_the_region(rise: float, told: int) -> None:
    """Column 1 is column 0 turned a little, so that it leaves `rise` variances more over the take: exchanged below 25
    (five standard deviations of one value: 25 variances)."""
    weights = np.zeros((FRAMES, 2))
    weights[:, 0] = np.linspace(0.1, 0.9, FRAMES)
    off = np.sqrt(rise * NOISE / np.square(weights[:, 0]).sum())  # sine of the angle times a length of 10
    a = np.zeros((40, 2))
    a[0, 0], a[0, 1], a[1, 1] = 10.0, np.sqrt(100.0 - off**2), off
    sums = sums_of(a, weights)
    found = cells_alone(sums, np.array([0]), BOUNDS)
    assert most_specific(sums, found, np.arange(2), shares_of([0.2, 0.5]), BOUNDS).at.tolist() == [told]
    assert most_specific(sums, found, np.arange(2), shares_of([0.5, 0.2]), BOUNDS).at.tolist() == [0]


def test_a_shape_that_bends_is_judged_with_its_bend() -> None:
    """Frames that go by column 1 and its bend, column 2; column 0 lies between the two."""
    w = np.linspace(0.2, 0.8, FRAMES)
    a = np.zeros((40, 3))
    a[0, :2], a[1, 0], a[1, 2] = 20.0, 1.0, 2.0
    sums = sums_of(a, np.stack([0.0 * w, w, 0.5 * w + np.sin(9.0 * w) ** 2], axis=1))
    found = cells_alone(sums, np.array([0]), BOUNDS)
    shares = shares_of([0.2, 0.5, 0.5], bend=(1, 2))
    assert most_specific(sums, found, np.arange(3), shares, BOUNDS).at.tolist() == [1, 2]
    assert most_specific(sums, found, np.arange(2), shares, BOUNDS).at.tolist() == [0]
