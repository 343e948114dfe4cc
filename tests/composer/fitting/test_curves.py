"""Curves as polylines: arc lengths, places at equal arc lengths, and the closest places, on lines drawn on paper."""

from __future__ import annotations

import numpy as np

from composer.fitting.curves import lengths, on_polyline, resampled

CORNER = np.array([[0.0, 0, 0], [3, 0, 0], [3, 1, 0]])


def test_arc_lengths_run_from_0_to_1() -> None:
    np.testing.assert_allclose(lengths(CORNER), [0.0, 0.75, 1.0], atol=1e-15)


def test_a_line_of_one_place_is_divided_evenly() -> None:
    np.testing.assert_allclose(lengths(np.ones((3, 3))), [0.0, 0.5, 1.0], atol=1e-15)


def test_places_are_taken_at_the_other_line_s_arc_lengths() -> None:
    straight = np.array([[0.0, 0, 5], [1, 0, 5], [2, 0, 5], [3.5, 0, 5], [4, 0, 5]])  # 0, 1/4, 1/2, 7/8, 1 of the way
    expected = [[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [3, 0.5, 0], [3, 1, 0]]
    np.testing.assert_allclose(resampled(CORNER, straight), expected, atol=1e-12)


def test_as_many_places_are_pairs() -> None:
    np.testing.assert_array_equal(resampled(CORNER, np.array([[0.0, 0, 0], [1, 0, 0], [9, 0, 0]])), CORNER)


def test_the_closest_place_of_a_line_and_its_direction() -> None:
    points = np.array([[9.0, 9, 9], [1, -2, 0.5], [5, 0.25, 0], [2.5, 7, 0], [9, 9, 9]])
    place, along = on_polyline(points, CORNER)
    np.testing.assert_allclose(place, [[0, 0, 0], [1, 0, 0], [3, 0.25, 0], [3, 1, 0], [3, 1, 0]], atol=1e-12)
    np.testing.assert_allclose(along, [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 1, 0], [0, 0, 0]], atol=1e-12)


def test_a_place_before_a_line_s_first_piece_stays_on_it() -> None:
    place, _ = on_polyline(np.array([[0.0, 0, 0], [-2, 1, 0], [3, 1, 0]]), CORNER)
    np.testing.assert_allclose(place[1], [0.0, 0.0, 0.0], atol=1e-15)
