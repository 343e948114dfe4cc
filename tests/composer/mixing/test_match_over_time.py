"""Weights over time against scipy's bounded least squares on the dense problem, and the noise that sets penalties."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

from composer.mixing import match_over_time
from composer.mixing.match_noise import noise_variance, penalties
from composer.mixing.match_over_time import ScaledCells, second_differences, windows


def problem(frames: int, cells: int, seed: int = 1) -> tuple[NDArray, NDArray]:
    """(m, k) columns, some of them alike, and (f, m) frames of weights partly beyond the bounds, with noise."""
    rng = np.random.default_rng(seed)
    columns = rng.normal(size=(30, cells))
    columns[:, 1] = columns[:, 0] + 0.1 * columns[:, 1]
    weights = np.cumsum(0.2 * rng.normal(size=(frames, cells)), axis=0) + 0.3
    return columns, weights @ columns.T + 0.3 * rng.normal(size=(frames, 30))


def test_frames_by_themselves_are_those_of_scipy() -> None:
    """scipy.optimize.lsq_linear with the method bvls (Stark and Parker 1995), which is exact."""
    columns, b = problem(12, 5)
    scaled = ScaledCells.of(columns.T @ columns, 0.0, 1.0)
    found = scaled.each_frame(b @ columns / scaled.length) / scaled.length
    for row, frame in zip(found, b, strict=True):
        np.testing.assert_allclose(row, lsq_linear(columns, frame, (0.0, 1.0), method="bvls").x, atol=1e-6)


@pytest.mark.parametrize("even", [True, False])
def test_smooth_weights_are_the_bounded_least_squares_of_frames_and_second_differences(even: bool) -> None:
    """One stacked problem: all frames, and the roots of the penalties times the second differences."""
    columns, b = problem(14, 4)
    frames, k = len(b), columns.shape[1]
    rng = np.random.default_rng(2)
    times = np.arange(frames) / 24.0 if even else np.cumsum(rng.uniform(0.5, 2.0, frames))
    asked = rng.uniform(0.0, 30.0, size=(frames - 2, k))
    scaled = ScaledCells.of(columns.T @ columns, 0.0, 1.0)
    found = scaled.smooth(b @ columns / scaled.length, asked, times, np.zeros((frames, k))) / scaled.length
    bends = second_differences(times)
    stacked, wanted = [np.kron(np.eye(frames), columns)], [b.ravel()]
    for row in range(frames - 2):
        for cell in range(k):
            line = np.zeros((frames, k))
            line[row : row + 3, cell] = np.sqrt(asked[row, cell]) * scaled.length[cell] * bends[row]
            stacked.append(line.reshape(1, -1))
            wanted.append(np.zeros(1))
    theirs = lsq_linear(np.concatenate(stacked), np.concatenate(wanted), (0.0, 1.0), method="bvls")
    np.testing.assert_allclose(found.ravel(), theirs.x, atol=1e-6)


def test_second_differences_are_those_of_parabolas() -> None:
    """numpy.polyfit through three points: the second derivative, times the mean step squared."""
    times = np.array([0.0, 1.0, 1.7, 3.1, 3.6])
    values = np.array([0.2, 1.0, -0.4, 0.8, 0.1])
    bends = second_differences(times)
    for row in range(3):
        curve = np.polyfit(times[row : row + 3], values[row : row + 3], 2)
        expected = 2.0 * curve[0] * np.mean(np.diff(times)) ** 2
        assert bends[row] @ values[row : row + 3] == pytest.approx(expected, rel=1e-9)


def test_window_by_window_is_the_whole_take(monkeypatch: pytest.MonkeyPatch) -> None:
    columns, b = problem(150, 3)
    scaled = ScaledCells.of(columns.T @ columns, 0.0, 1.0)
    onto, times, start = b @ columns / scaled.length, np.arange(150) / 24.0, np.zeros((150, 3))
    asked = np.full((148, 3), 20.0)
    one = scaled.smooth(onto, asked, times, start)
    assert len(list(windows(150, 3))) == 2
    monkeypatch.setattr(match_over_time, "WINDOW", 1000)
    np.testing.assert_allclose(one, scaled.smooth(onto, asked, times, start), atol=1e-4 * np.abs(one).max())


def test_the_noise_is_told_beside_what_cells_do_and_what_they_cannot() -> None:
    """White noise of 0.2 on 400 values, a movement of the cells, and one that no cell makes but that stays."""
    rng = np.random.default_rng(3)
    columns = rng.normal(size=(400, 3))
    times = np.arange(200) / 24.0
    moves = 0.5 + 0.5 * np.sin(np.outer(times, [1.0, 2.0, 3.0]))
    lacking = np.outer(np.sin(times), rng.normal(size=400))
    b = 5.0 * moves @ columns.T + lacking + 0.2 * rng.normal(size=(200, 400))
    scaled = ScaledCells.of(columns.T @ columns, 0.0, 9.0)
    bent = np.square(np.diff(b, 2, axis=0)).sum(axis=1)
    variance = noise_variance(scaled, b @ columns / scaled.length, bent, 400)
    assert np.sqrt(variance) == pytest.approx(0.2, rel=0.05)


def test_a_turn_keeps_its_place_and_slow_weights_are_smoothed() -> None:
    """A weight that is still, then leaves in a line: at the corner the penalty gives way, elsewhere noise goes down."""
    rng = np.random.default_rng(4)
    column = rng.normal(size=(300, 1))
    planted = np.maximum(np.arange(80) - 40, 0.0)[:, None] * 0.05 + 0.2
    b = planted @ column.T + 0.8 * rng.normal(size=(80, 300))
    scaled = ScaledCells.of(column.T @ column, 0.0, 9.0)
    onto, times = b @ column / scaled.length, np.arange(80) / 24.0
    rough = scaled.each_frame(onto)
    smooth = scaled.smooth(onto, penalties(scaled, rough, 0.64, times), times, rough)
    off_rough, off_smooth = (np.abs(each / scaled.length - planted) for each in (rough, smooth))
    assert np.sqrt(np.mean(off_smooth**2)) < 0.8 * np.sqrt(np.mean(off_rough**2))
    assert off_smooth[38:44].max() < 3.0 * off_rough.std()
    assert (penalties(scaled, rough, 0.0, times) == 0.0).all()
