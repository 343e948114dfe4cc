"""Masks from pictures of a few texels, whose values can be worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from masks.from_image import from_image, sample
from tests.small_heads import grid

PICTURE = np.array([[0.0, 0.2, 0.4], [0.6, 0.8, 1.0]])  # row 0 is at the top: its centres lie at v = 3/4


def test_centres_of_texels_have_their_value() -> None:
    u, v = np.meshgrid((np.arange(3) + 0.5) / 3, [0.75, 0.25])
    np.testing.assert_allclose(sample(PICTURE, np.stack([u.ravel(), v.ravel()], axis=1)), PICTURE.ravel(), atol=1e-12)


@pytest.mark.parametrize(
    ("uv", "value"),
    [
        ((0.5, 0.5), 0.5),  # half way down the middle column
        ((1 / 3, 0.75), 0.1), ((2 / 3, 0.25), 0.9),  # half way along a row
        ((1 / 3, 0.5), 0.4),  # the middle of four texels
        ((0.25, 0.65), 0.25),  # a quarter of a texel to the right of 0, a fifth of one down: 0.05 + 0.6 * 0.2
        ((0.0, 1.0), 0.0), ((1.0, 0.0), 1.0), ((0.5, 0.99), 0.2),  # beyond the outermost centres
        ((1.5, -0.5), 0.5), ((-0.5, 2.75), 0.2),  # outside, the picture repeats
    ],
)  # fmt: skip
def test_between_centres(uv: tuple[float, float], value: float) -> None:
    expected = 0.05 + 0.6 * 0.2 if uv == (0.25, 0.65) else value
    assert sample(PICTURE, np.array([uv]))[0] == pytest.approx(expected, abs=1e-12)


UV = np.array([[0.5, 0.75], [0.5, 0.25], [1 / 6, 0.75], [5 / 6, 0.25]])


def mask(picture: object, index: list[int]) -> tuple[list[float], list[bool]]:
    values, known = from_image(grid(2, 2), picture, UV, np.array(index))  # type: ignore[arg-type]
    return values.round(12).tolist(), known.tolist()


def test_corners_take_their_place_s_value_and_seams_the_mean() -> None:
    assert grid(2, 2).indices.tolist() == [0, 1, 3, 2]
    assert mask(PICTURE, [0, 1, 3, 2]) == ([0.2, 0.8, 0.0, 1.0], [True] * 4)
    assert mask(PICTURE, [0, -1, 3, 2]) == ([0.2, 0.0, 0.0, 1.0], [True, False, True, True])


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_whole_numbers_take_their_full_range(kind: type) -> None:
    most = np.iinfo(kind).max
    picture = (PICTURE * most).astype(kind)  # a fifth of 255 and of 65535 is whole
    assert mask(picture, [0, 1, 3, 2])[0] == [0.2, 0.8, 0.0, 1.0]


def test_of_several_channels_the_first_counts() -> None:
    picture = np.stack([PICTURE, 1 - PICTURE, 0 * PICTURE, 0 * PICTURE + 1], axis=2)
    assert mask(picture, [0, 1, 3, 2])[0] == [0.2, 0.8, 0.0, 1.0]
    assert mask(picture[:, :, 1:], [0, 1, 3, 2])[0] == [0.8, 0.2, 1.0, 0.0]


def test_floats_beyond_the_range_are_cut_off() -> None:
    assert mask(3 * PICTURE - 1, [0, 1, 3, 2])[0] == [0.0, 1.0, 0.0, 1.0]


@pytest.mark.parametrize("picture", [np.zeros(3), np.zeros((0, 3)), np.zeros((2, 3, 0)), np.zeros((2, 2, 2, 2))])
def test_what_is_no_picture_is_refused(picture: np.ndarray) -> None:
    with pytest.raises(MoueError, match="holds no mask"):
        mask(picture, [0, 1, 3, 2])


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(MoueError, match="texture coordinate 4 of 4"):
        mask(PICTURE, [0, 1, 4, 2])
    with pytest.raises(MoueError, match="one index a polygon corner"):
        mask(PICTURE, [0, 1, 3])
    with pytest.raises(MoueError, match="not numbers"):
        mask(PICTURE * np.nan, [0, 1, 3, 2])


def test_between_rows_the_one_below_counts() -> None:
    column = np.array([[0.0], [0.1], [0.5], [1.0]])
    at = np.array([[0.5, 0.75], [0.5, 0.5], [0.5, 0.25], [0.5, 0.3125]])  # half way from row to row, then a quarter
    np.testing.assert_allclose(sample(column, at), [0.05, 0.3, 0.75, 0.625], atol=1e-12)
    np.testing.assert_allclose(sample(column.T, at[:, ::-1] * [-1, 1] + [1, 0]), [0.05, 0.3, 0.75, 0.625], atol=1e-12)
