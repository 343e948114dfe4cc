"""Counting reversed corners and folded edges, on a strip of quads that is bent and turned by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.fitting.loops import FOLD_DEG, Loops
from composer.geometry.polygons import Polygons
from tests.small_heads import grid

STRIP = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [3, 0, 0], [0, 1, 0], [1, 1, 0], [2, 1, 0], [3, 1, 0]])


def bent(degrees: float) -> np.ndarray:
    """The strip with its last quad turned up, so that it meets the one before at `degrees` on the inside."""
    angle = np.radians(180.0 - degrees)
    places = STRIP.copy()
    places[[3, 7], 0], places[[3, 7], 2] = 2 + np.cos(angle), np.sin(angle)
    return places


@pytest.mark.parametrize(("degrees", "bad"), [(180.0, False), (FOLD_DEG + 1, False), (FOLD_DEG - 1, True)])
def test_an_edge_is_folded_below_40_degrees(degrees: float, bad: bool) -> None:
    loops = Loops(grid(2, 4), STRIP)
    assert loops.bad(bent(degrees)).tolist() == [False, bad, bad]
    assert loops.counts(bent(degrees)) == (0, 2 * bad)
    assert not Loops(grid(2, 4), bent(degrees)).bad(bent(degrees)).any()  # what the reference has is no fault


def test_a_corner_pushed_through_its_quad_is_reversed() -> None:
    places = STRIP.copy()
    places[7] = [2.2, 0.2, 0.0]  # past the diagonal of the last quad
    loops = Loops(grid(2, 4), STRIP)
    assert loops.bad(places).tolist() == [False, False, True] and loops.counts(places)[0] == 1
    reversed_, folded = loops.faults(places)
    assert grid(2, 4).indices[reversed_].tolist() == [7] and not folded.any()


def test_vertices_and_their_rings() -> None:
    loops = Loops(grid(2, 4), STRIP)
    assert np.flatnonzero(loops.vertices_of(np.array([True, False, False]))).tolist() == [0, 1, 4, 5]
    first = np.arange(8) == 0
    grown = [np.flatnonzero(loops.grown(first, rings)).tolist() for rings in (0, 1, 2)]
    assert (loops.grown(first) == loops.grown(first, 1)).all()
    assert grown == [[0], [0, 1, 4, 5], [0, 1, 2, 4, 5, 6]]


def test_tables_of_corners_and_inner_edges() -> None:
    polygons = Polygons.from_faces([[0, 1, 2], [2, 1, 3]], 4)
    loops = Loops(polygons, np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]]))
    assert loops.corners.tolist() == [[2, 0, 1], [0, 1, 2], [1, 2, 0], [3, 2, 1], [2, 1, 3], [1, 3, 2]]
    assert loops.beside.tolist() == [[0, 1]] and polygons.edges[loops.edge].tolist() == [[1, 2]]


@given(st.integers(0, 2**31 - 1), st.integers(0, 12), st.integers(1, 3))
def test_many_rings_are_one_ring_many_times(seed: int, rings: int, count: int) -> None:
    side = 20
    polygons = grid(side, side)
    loops = Loops(polygons, np.zeros((side**2, 3)))
    flags = np.zeros(side**2, dtype=bool)
    flags[np.random.default_rng(seed).integers(0, side**2, count)] = True
    one = flags
    for _ in range(rings):
        one = loops.grown(one)
    assert np.array_equal(loops.grown(flags, rings), one)


@given(st.integers(0, 2**31 - 1), st.integers(0, 8))
def test_what_is_bad_again_is_what_a_look_at_all_finds(seed: int, count: int) -> None:
    """The law: after some vertices moved, the known faults and a look about these give the faults of the whole."""
    random = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(8.0), np.arange(8.0))
    flat = np.stack([x, y, np.zeros_like(x)], axis=-1).reshape(-1, 3)
    loops = Loops(grid(8, 8), flat + random.normal(0.0, 0.1, (64, 3)))
    first = flat + random.normal(0.0, 0.5, (64, 3))
    moved = np.zeros(64, dtype=bool)
    moved[random.choice(64, count, replace=False)] = True
    later = first + np.where(moved[:, None], random.normal(0.0, 1.0, (64, 3)), 0.0)
    np.testing.assert_array_equal(loops.bad_again(later, moved, loops.bad(first)), loops.bad(later))
